// Where a picture lies in a pane, so that what stands still stays put from day to day. Pure: numbers
// in, numbers out.
//
// A `turn` is nine numbers, row by row: a point of a picture, in shares of its width and height
// (x, y, 1), times it is the same thing's place in the reference view, in shares of that (divide by
// the third number). A `view` says where the whole reference view lies in the pane, in px.
(() => {
  "use strict";

  const times = (a, b) => [0, 1, 2].flatMap((row) => [0, 1, 2].map((column) =>
    a[3 * row] * b[column] + a[3 * row + 1] * b[3 + column] + a[3 * row + 2] * b[6 + column]));

  // The whole reference view in a pane that shows `box` of it (left, top, width, height in shares;
  // null shows all), and how high that pane is.
  const viewOf = (box, reference, paneWidth) => {
    const [left, top, width, height] = box || [0, 0, 1, 1];
    const view = { width: paneWidth / width };
    view.height = (view.width * reference.height) / reference.width;
    return {
      ...view, left: -left * view.width, top: -top * view.height, paneHeight: height * view.height,
    };
  };

  const shapeOf = (size, view) => size.width / size.height / (view.width / view.height);
  const alike = (size, view) => Math.abs(shapeOf(size, view) - 1) < 0.01;

  // A picture that is taken as it is fills the view; one of another shape keeps its own within it.
  const untouched = (size, view) => {
    const shape = shapeOf(size, view);
    if (alike(size, view)) return [1, 0, 0, 0, 1, 0, 0, 0, 1];
    const [wide, high] = [Math.min(1, shape), Math.min(1, 1 / shape)];
    return [wide, 0, (1 - wide) / 2, 0, high, (1 - high) / 2, 0, 0, 1];
  };

  // From px of a picture `size.width` by `size.height` to px of the pane: nine numbers.
  const matrixOf = (turn, size, view) => {
    const placed = [view.width, 0, view.left, 0, view.height, view.top, 0, 0, 1];
    const shares = [1 / size.width, 0, 0, 0, 1 / size.height, 0, 0, 0, 1];
    const found = times(times(placed, turn || untouched(size, view)), shares);
    return found.map((number) => number / found[8]);
  };

  // The same for CSS, which writes columns and has a third dimension. With exponents, since a browser
  // may drop what lies beyond the seventh decimal: a fifth of a pixel at the far edge.
  const cssOf = ([a, b, c, d, e, f, g, h, i]) => {
    const columns = [a, d, 0, g, b, e, 0, h, 0, 0, 1, 0, c, f, 0, i];
    return `matrix3d(${columns.map((number) => number.toExponential(12)).join(", ")})`;
  };

  // The narrowest file that has a pixel for each of the screen's; else the widest.
  const widthFor = (widths, needed) =>
    widths.find((width) => width >= needed) || widths[widths.length - 1];

  lapsekit.turning = { viewOf, matrixOf, cssOf, widthFor, alike, untouched };
})();
