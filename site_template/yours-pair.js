// Both plants side by side: each in a square, and at one scale where both scales are known.
(() => {
  "use strict";

  // From shares of a picture to shares of the reference view, row by row.
  const SAME = [1, 0, 0, 0, 1, 0, 0, 0, 1];
  const times = (a, b) => a.map((_, k) => {
    const [row, column] = [Math.floor(k / 3) * 3, k % 3];
    return a[row] * b[column] + a[row + 1] * b[column + 3] + a[row + 2] * b[column + 6];
  });

  // The turn as an element has it that is shown as large as the whole reference view.
  const turned = (turn, [width, height], [left, top]) => {
    const there = [width, 0, -left * width, 0, height, -top * height, 0, 0, 1];
    const back = [1 / width, 0, 0, 0, 1 / height, 0, 0, 0, 1];
    const [a, b, c, d, e, f, g, h, i] = times(times(there, turn || SAME), back);
    return `matrix3d(${[a, d, 0, g, b, e, 0, h, 0, 0, 1, 0, c, f, 0, i].join(",")})`;
  };

  // Width and height of a region's box, in px of the reference view.
  const formOf = ({ camera, region }) => {
    const [, , across, down] = region.box || [0, 0, 1, 1];
    return [across * (camera.width || 4), down * (camera.height || 3)];
  };

  // How many times larger a pixel of the photo and one of the reference view are drawn in squares
  // of `side`: at one scale where a pixel of each is known in cm, else each as large as fits.
  const scales = (side, theirs, ours, cmPerPixel) => {
    const longest = [theirs, ours].map((size) => Math.max(...size));
    if (!cmPerPixel) return longest.map((pixels) => side / pixels);
    const pointsPerCm = side / Math.max(...longest.map((pixels, k) => pixels * cmPerPixel[k]));
    return cmPerPixel.map((cm) => cm * pointsPerCm);
  };

  // Where a stretch begins whose middle is given, moved so that it lies within `whole` if it can.
  const within = (middle, length, whole) => {
    const start = middle - length / 2;
    return length < whole ? Math.min(Math.max(start, 0), whole - length) : start;
  };

  // The part of a photo that fills a square, its box in the middle or near it: left, top, and the
  // width of the square, in pixels of the photo.
  const square = (photo, [left, top, right, bottom], side, scale) => {
    const across = side / scale;
    return [
      within((left + right) / 2, across, photo.width),
      within((top + bottom) / 2, across, photo.height),
      across,
    ];
  };

  const drawTheirs = (panel, photo, box, side, scale) => {
    const canvas = document.createElement("canvas");
    canvas.width = canvas.height = Math.max(1, Math.round(side * (window.devicePixelRatio || 1)));
    const [left, top, across] = square(photo, box, side, scale);
    const context = canvas.getContext("2d");
    context.imageSmoothingQuality = "high";
    context.drawImage(photo, left, top, across, across, 0, 0, canvas.width, canvas.height);
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", lapsekit.text("Your plant"));
    panel.replaceChildren(canvas);
  };

  // Where the reference view lies in a square, drawn as large as `scale` says: its size, and the
  // share of it at the square's upper left corner.
  const view = ({ camera, region }, side, scale) => {
    const [left, top, across, down] = region.box || [0, 0, 1, 1];
    const whole = [(camera.width || 4) * scale, (camera.height || 3) * scale];
    const middle = [left + across / 2, top + down / 2];
    return { whole, corner: middle.map((share, k) => within(share, side / whole[k], 1)) };
  };

  const drawOurs = (panel, ours, side, scale) => {
    const { whole, corner } = view(ours, side, scale);
    const shown = ours.camera.days[ours.day];
    const kinds = shown.kinds || ours.camera.kinds;
    const picture = lapsekit.picture(shown, kinds, `${Math.ceil(whole[0])}px`);
    const image = picture.querySelector("img");
    image.alt = lapsekit.text("{title} on {day}", {
      title: lapsekit.said.apart(ours.title), day: lapsekit.longDay(ours.day),
    });
    image.style.width = `${whole[0]}px`;
    image.style.height = `${whole[1]}px`;
    image.style.transform = turned(shown.turn, whole, corner);
    panel.replaceChildren(picture);
    return image;
  };

  lapsekit.pair = { scales, square, view, turned, drawTheirs, drawOurs, formOf, SAME };
})();
