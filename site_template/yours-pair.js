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

  // How large each is drawn in a square of `side`: at one scale, or each as large as fits.
  const sizes = (side, theirs, ours, inCm) => {
    const fit = ([width, height]) => side / Math.max(width, height);
    const pair = inCm ? [inCm.theirs, inCm.ours] : [theirs, ours];
    const scale = inCm ? [Math.min(fit(pair[0]), fit(pair[1]))] : pair.map(fit);
    return pair.map(([width, height], k) => {
      const by = scale[k] || scale[0];
      return [width * by, height * by];
    });
  };

  const drawTheirs = (panel, photo, [left, top, right, bottom], [width, height]) => {
    const canvas = document.createElement("canvas");
    const fine = window.devicePixelRatio || 1;
    canvas.width = Math.max(1, Math.round(width * fine));
    canvas.height = Math.max(1, Math.round(height * fine));
    canvas.style.width = `${width}px`;
    canvas.style.height = `${height}px`;
    const context = canvas.getContext("2d");
    context.imageSmoothingQuality = "high";
    context.drawImage(photo, left, top, right - left, bottom - top, 0, 0, canvas.width, canvas.height);
    canvas.setAttribute("role", "img");
    canvas.setAttribute("aria-label", lapsekit.text("Your plant"));
    panel.replaceChildren(canvas);
  };

  const drawOurs = (panel, ours, [width, height]) => {
    const [left, top, across, down] = ours.region.box || [0, 0, 1, 1];
    const whole = [width / across, height / down];
    const shown = ours.camera.days[ours.day];
    const kinds = shown.kinds || ours.camera.kinds;
    const picture = lapsekit.picture(shown, kinds, `${Math.ceil(whole[0])}px`);
    const image = picture.querySelector("img");
    image.alt = lapsekit.text("{title} on {day}", { title: ours.title, day: lapsekit.longDay(ours.day) });
    image.style.width = `${whole[0]}px`;
    image.style.height = `${whole[1]}px`;
    image.style.transform = turned(shown.turn, whole, [left, top]);
    const crop = document.createElement("div");
    crop.className = "yours-crop";
    crop.style.width = `${width}px`;
    crop.style.height = `${height}px`;
    crop.append(picture);
    panel.replaceChildren(crop);
    return image;
  };

  // Width over height of a region's box, in parts of the picture as it is.
  const formOf = ({ camera, region }) => {
    const [, , across, down] = region.box || [0, 0, 1, 1];
    return [across * (camera.width || 4), down * (camera.height || 3)];
  };

  lapsekit.pair = { sizes, turned, times, drawTheirs, drawOurs, formOf, SAME };
})();
