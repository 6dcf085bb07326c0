// Both plants side by side: each in a square, and at one scale where both scales are known.
(() => {
  "use strict";

  const { alike, cssOf, matrixOf, widthFor } = lapsekit.turning;
  const sizes = new Map(); // of pictures that have been shown, in px

  // The reference view's size; a shape to go by where it is not known.
  const whole = (camera) => ({ width: camera.width || 4, height: camera.height || 3 });

  // Width and height of a region's box, in px of the reference view.
  const formOf = ({ camera, region }) => {
    const [, , across, down] = region.box || [0, 0, 1, 1];
    return [across * whole(camera).width, down * whole(camera).height];
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

  // Where the reference view lies in a square, drawn as large as `scale` says, in px of the square.
  const view = ({ camera, region }, side, scale) => {
    const [left, top, across, down] = region.box || [0, 0, 1, 1];
    const width = whole(camera).width * scale;
    const height = whole(camera).height * scale;
    return {
      width, height,
      left: -width * within(left + across / 2, side / width, 1),
      top: -height * within(top + down / 2, side / height, 1),
    };
  };

  // Whether the picture shows what the reference view's scale is of: not if it was never turned and
  // is of another shape. Null until it has been loaded.
  const isToScale = ({ camera, day }) => {
    const shown = camera.days[day];
    if (shown.turn) return true;
    const size = sizes.get(shown.stem);
    return size ? alike(size, whole(camera)) : null;
  };

  // `known` is called when the picture's own shape has come to be known.
  const drawOurs = (panel, ours, side, scale, known = () => {}) => {
    const there = view(ours, side, scale);
    const shown = ours.camera.days[ours.day];
    const kinds = shown.kinds || ours.camera.kinds;
    const needed = there.width * (window.devicePixelRatio || 1);
    const width = widthFor(shown.widths, needed);
    const plain = widthFor(shown.fallback || shown.widths, needed);
    // One file of each kind, said to be as wide as it is: then the image knows its true shape.
    const picture = lapsekit.picture(
      { ...shown, widths: [width], fallback: [plain] }, kinds, `${width}px`);
    const image = picture.querySelector("img");
    image.alt = lapsekit.text("{title} on {day}", {
      title: lapsekit.said.apart(ours.title), day: lapsekit.longDay(ours.day),
    });
    const lay = () => {
      const size = sizes.get(shown.stem) || there;
      image.style.width = `${size.width}px`;
      image.style.height = `${size.height}px`;
      image.style.transform = cssOf(matrixOf(shown.turn, size, there));
    };
    image.addEventListener("load", () => {
      const isNew = !sizes.has(shown.stem);
      sizes.set(shown.stem, { width: image.naturalWidth, height: image.naturalHeight });
      lay();
      if (isNew) known();
    });
    lay();
    panel.replaceChildren(picture);
    return image;
  };

  lapsekit.pair = { scales, square, view, isToScale, drawTheirs, drawOurs, formOf };
})();
