// The card that a follower may keep or share: both plants at one scale, their numbers, the day.
(() => {
  "use strict";

  const [WIDTH, HEIGHT, EDGE, SIDE, GAP] = [1200, 960, 60, 525, 30];
  const PAPER = { paper: "#f6f0e1", ink: "#241e17", faint: "#665b4c", rule: "#cdc1a8", accent: "#9a2f1c" };
  const FAMILY = 'Almanac, Garamond, Georgia, serif';

  const font = (size, style = "") => `${style} ${size}px ${FAMILY}`.trim();

  // Text that is cut with dots where it is too long.
  const fitted = (context, text, width) => {
    if (context.measureText(text).width <= width) return text;
    let kept = [...text];
    while (kept.length && context.measureText(`${kept.join("")}…`).width > width) {
      kept = kept.slice(0, Math.min(kept.length - 1, 400));
    }
    return `${kept.join("")}…`;
  };

  // Text in as many lines as there are, at most `most`.
  const wrapped = (context, text, width, most) => {
    const lines = [""];
    for (const word of text.split(/\s+/)) {
      const longer = `${lines[lines.length - 1]} ${word}`.trim();
      if (context.measureText(longer).width <= width) lines[lines.length - 1] = longer;
      else if (lines.length === most) return [...lines.slice(0, -1), fitted(context, `${longer} `, width)];
      else lines.push(fitted(context, word, width));
    }
    return lines;
  };

  const drawTheirs = (context, theirs, x, y, scale) => {
    const [left, top, across] = lapsekit.pair.square(theirs.photo, theirs.box, SIDE, scale);
    context.drawImage(theirs.photo, left, top, across, across, x, y, SIDE, SIDE);
  };

  // A canvas turns pictures by six numbers, not nine: those that are right in the square's middle.
  const drawOurs = (context, ours, x, y, scale) => {
    const view = lapsekit.pair.view(ours, SIDE, scale);
    const size = { width: ours.image.naturalWidth, height: ours.image.naturalHeight };
    const turn = ours.camera.days[ours.day].turn || lapsekit.turning.untouched(size, view);
    const [a, b, c, d, e, f, g, h, i] = turn;
    const u = (SIDE / 2 - view.left) / view.width;
    const v = (SIDE / 2 - view.top) / view.height;
    const w = g * u + h * v + i;
    const at = [(a * u + b * v + c) / w, (d * u + e * v + f) / w];
    const slopes = [
      (a - g * at[0]) / w, (d - g * at[1]) / w, (b - h * at[0]) / w, (e - h * at[1]) / w,
    ];
    context.translate(x + view.left, y + view.top);
    context.scale(view.width, view.height);
    context.transform(...slopes,
      at[0] - slopes[0] * u - slopes[2] * v, at[1] - slopes[1] * u - slopes[3] * v);
    context.drawImage(ours.image, 0, 0, 1, 1);
  };

  const panel = (context, x, y, draw) => {
    context.save();
    context.beginPath();
    context.rect(x, y, SIDE, SIDE);
    context.clip();
    context.fillStyle = PAPER.rule;
    context.fillRect(x, y, SIDE, SIDE);
    draw();
    context.restore();
  };

  const writing = (context, text, x, y, size, colour, style, width) => {
    context.font = font(size, style);
    context.fillStyle = colour;
    context.fillText(fitted(context, text, width), x, y);
  };

  // A promise of a PNG. `card`: title, numeral, theirs, ours, scales, captions, words, scale.
  lapsekit.card = async (card) => {
    await Promise.all([document.fonts.load(font(40)), document.fonts.load(font(40, "italic"))]);
    await card.ours.image.decode();
    const canvas = document.createElement("canvas");
    [canvas.width, canvas.height] = [WIDTH, HEIGHT];
    const context = canvas.getContext("2d");
    context.imageSmoothingQuality = "high";
    context.fillStyle = PAPER.paper;
    context.fillRect(0, 0, WIDTH, HEIGHT);
    context.fillStyle = PAPER.ink;
    for (const [top, height] of [[44, 3], [50, 1.5], [136, 1.5]]) {
      context.fillRect(EDGE, top, WIDTH - 2 * EDGE, height);
    }
    writing(context, card.title, EDGE, 108, 44, PAPER.ink, "italic", 760);
    context.textAlign = "right";
    writing(context, card.age, WIDTH - EDGE, 112, 54, PAPER.accent, "", 260);
    context.textAlign = "left";
    const top = 168;
    const second = EDGE + SIDE + GAP;
    panel(context, EDGE, top, () => drawTheirs(context, card.theirs, EDGE, top, card.scales[0]));
    panel(context, second, top, () => drawOurs(context, card.ours, second, top, card.scales[1]));
    [EDGE, second].forEach((x, k) => {
      writing(context, card.captions[k], x, top + SIDE + 40, 30, PAPER.ink, "", SIDE);
    });
    context.font = font(30, "italic");
    context.fillStyle = PAPER.ink;
    wrapped(context, card.words, WIDTH - 2 * EDGE, 3).forEach((line, k) => {
      context.fillText(line, EDGE, top + SIDE + 108 + 40 * k);
    });
    writing(context, card.scale, EDGE, HEIGHT - 44, 24, PAPER.faint, "", WIDTH - 2 * EDGE);
    return new Promise((done, failed) => {
      canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error("no picture"))), "image/png");
    });
  };
  lapsekit.card.side = SIDE;
})();
