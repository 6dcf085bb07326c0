// Measures a follower's picture by the grower's canopy rule, apart from the page, so that the page
// stays at hand. It is told where the program and the rule lie, then given a picture, then asked
// for areas within boxes of the picture that it was given last. One question after another: each
// is begun when the one before it is answered. Nothing is sent anywhere.
"use strict";

const BAND_PIXELS = 2e6; // decoded pixels that are looked at together
const PAINT = [214, 32, 150]; // of no plant
const HEIC = /^(heic|heix|hevc|mif1|msf1|heim|heis)$/;

let program = null;
let measured = null; // the last picture: {width, height, cover}

// What went wrong, as a word that the page has a sentence for.
class Amiss extends Error {
  constructor(word, cause) {
    super(word, { cause });
    this.word = word;
  }
}

const file = async (url) => {
  const answer = await fetch(url, { credentials: "same-origin" }).catch((cause) => {
    throw new Amiss("not loaded", cause);
  });
  if (!answer.ok) throw new Amiss("not loaded");
  return answer.arrayBuffer();
};

const compiled = async (bytes) => {
  if (typeof WebAssembly === "undefined") throw new Amiss("forbidden");
  if (!WebAssembly.validate(bytes)) throw new Amiss("too old");
  try {
    const math = { log: Math.log, exp: Math.exp };
    return (await WebAssembly.instantiate(bytes, { math })).instance.exports;
  } catch (cause) {
    throw new Amiss("forbidden", cause);
  }
};

const start = async ({ programAt, ruleAt }) => {
  const [bytes, rule] = await Promise.all([file(programAt), file(ruleAt)]);
  const found = await compiled(bytes);
  const at = found.rule_space(rule.byteLength);
  new Uint8Array(found.memory.buffer, at, rule.byteLength).set(new Uint8Array(rule));
  if (found.rule_read()) throw new Amiss("not loaded");
  program = found;
  return {};
};

const kindOf = async (picture) => {
  const head = new Uint8Array(await picture.slice(4, 12).arrayBuffer());
  const text = String.fromCharCode(...head);
  return text.startsWith("ftyp") && HEIC.test(text.slice(4)) ? "heic" : "not a picture";
};

// Upright, and in its own colours: a rule learned from files knows no colour profiles. A browser
// that does not know one of these wishes is asked without.
const WISHES = {
  imageOrientation: "from-image", colorSpaceConversion: "none", premultiplyAlpha: "none",
};
const decoded = async (picture) => {
  try {
    return await createImageBitmap(picture, WISHES).catch((error) => {
      if (error instanceof TypeError) return createImageBitmap(picture);
      throw error;
    });
  } catch (cause) {
    throw new Amiss(await kindOf(picture), cause);
  }
};

// What a file tells of its colours, as lapsekit/detail.py reads it: whether they are kept at half
// the resolution, and in what steps, as a share of those of the standard's table.
const WHOLE = [0, 0];
const WEBP = [1, 0.3];
const STANDARD_STEP = 86;
const MOST_COARSE = 0.6;
const TABLES = 0xdb;
const SCAN = 0xda;
const BARE = (mark) => mark <= 0x01 || (mark >= 0xd0 && mark <= 0xd9);
const FRAME = (mark) => mark >= 0xc0 && mark <= 0xcf && ![0xc4, 0xc8, 0xcc].includes(mark);

// The mean step of each table in a segment.
const meanSteps = (bytes) => {
  const found = {};
  for (let at = 0; at < bytes.length; ) {
    const [wide, table] = [bytes[at] >> 4 ? 2 : 1, bytes[at] & 15];
    let sum = 0;
    for (let k = at + 1; k <= at + 64 * wide; k += wide) {
      sum += wide === 2 ? bytes[k] * 256 + bytes[k + 1] : bytes[k];
    }
    found[table] = sum / 64;
    at += 1 + 64 * wide;
  }
  return found;
};

// Marks of a JPEG's head with what belongs to each.
const segments = function* (bytes) {
  for (let at = 2; at + 4 <= bytes.length; ) {
    const mark = bytes[at + 1];
    if (bytes[at] !== 0xff || mark === 0xff || BARE(mark)) {
      at += bytes[at] === 0xff && mark !== 0xff ? 2 : 1;
      continue;
    }
    if (mark === SCAN) return;
    const end = at + 2 + bytes[at + 2] * 256 + bytes[at + 3];
    yield [mark, bytes.subarray(at + 4, end)];
    at = end;
  }
};

const detailOfJpeg = (bytes) => {
  const steps = {};
  let parts = null; // samples across and down, and the table, of lightness and both colours
  for (const [mark, content] of segments(bytes)) {
    if (mark === TABLES) Object.assign(steps, meanSteps(content));
    if (FRAME(mark)) {
      if (content[5] !== 3) return WHOLE;
      parts = [7, 10, 13].map((k) => [content[k] >> 4, content[k] & 15, content[k + 1]]);
    }
  }
  const step = parts && steps[parts[1][2]] / STANDARD_STEP;
  if (!Number.isFinite(step)) return WHOLE;
  const fewer = [0, 1].filter((side) => parts[1][side] < Math.max(...parts.map((p) => p[side])));
  return [fewer.length / 2, Math.min(step, MOST_COARSE)];
};

const toldBy = async (picture) => {
  const bytes = new Uint8Array(await picture.arrayBuffer());
  if (bytes[0] === 0xff && bytes[1] === 0xd8) return detailOfJpeg(bytes);
  const text = String.fromCharCode(...bytes.subarray(0, 64));
  return text.startsWith("WEBP", 8) && text.includes("VP8 ") ? WEBP : WHOLE;
};

// How fine the colours' grain is beside that of lightness (lapsekit/vision/detail.py).
const [HALVED, FINE] = [0.4, 0.6];
const COARSE_BEFORE = 0.3;
const [ROUNDED, LEAST_GRAIN] = [0.1, 0.3];
const PARTS = [[0.299, 0.587, 0.114], [-0.169, -0.331, 0.5], [0.5, -0.419, -0.081]];

const partOf = ([r, g, b], width, height) => {
  const rgb = new Uint8Array(program.memory.buffer, program.picture_at(), width * height * 3);
  const found = new Float32Array(width * height);
  for (let at = 0; at < found.length; at += 1) {
    found[at] = r * rgb[3 * at] + g * rgb[3 * at + 1] + b * rgb[3 * at + 2];
  }
  return { width, height, at: found };
};

const halfOf = (part) => {
  const [width, height] = [part.width >> 1, part.height >> 1];
  const found = new Float32Array(width * height);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) {
      const at = 2 * y * part.width + 2 * x;
      found[y * width + x] = (part.at[at] + part.at[at + 1]
        + part.at[at + part.width] + part.at[at + part.width + 1]) / 4;
    }
  }
  return { width, height, at: found };
};

// What a picture of half the size does not hold, squared.
const grain = (part, half) => {
  const held = (at, side) => Math.max(0, Math.min(side - 1, at));
  let sum = 0;
  for (let y = 0; y < 2 * half.height; y += 1) {
    const near = (y >> 1) * half.width;
    const far = held((y >> 1) + (y & 1 ? 1 : -1), half.height) * half.width;
    for (let x = 0; x < 2 * half.width; x += 1) {
      const [here, there] = [x >> 1, held((x >> 1) + (x & 1 ? 1 : -1), half.width)];
      const smooth = 0.5625 * half.at[near + here] + 0.1875 * half.at[near + there]
        + 0.1875 * half.at[far + here] + 0.0625 * half.at[far + there];
      sum += (part.at[y * part.width + x] - smooth) ** 2;
    }
  }
  return sum / (4 * half.width * half.height);
};

const fineShare = (width, height) => {
  if (Math.min(width, height) < 4) return 1;
  const grains = PARTS.map((weights) => {
    const part = partOf(weights, width, height);
    const half = halfOf(part);
    return [grain(part, half), grain(half, halfOf(half))];
  });
  const [[fineLight, coarseLight], ...colours] = grains;
  const fine = colours.reduce((sum, [each]) => sum + each, 0) - ROUNDED;
  const coarse = colours.reduce((sum, [, each]) => sum + each, 0);
  if (coarse < LEAST_GRAIN || Math.min(fineLight, coarseLight) < LEAST_GRAIN) return 1;
  return ((fine / coarse) * coarseLight) / fineLight;
};

// A file that says it keeps colours whole may have been saved before in another way.
const detailOf = async (picture, width, height) => {
  const [halved, coarseness] = await toldBy(picture);
  if (halved) return [halved, coarseness];
  const seen = (FINE - fineShare(width, height)) / (FINE - HALVED);
  const share = Math.max(0, Math.min(1, seen));
  return [share, Math.max(coarseness, share * COARSE_BEFORE)];
};

const taken = (bitmap) => {
  const { width, height } = bitmap;
  const by = program.picture_begin(width, height);
  const rows = Math.max(1, Math.floor(BAND_PIXELS / width / by)) * by;
  const band = program.band_space(rows);
  const canvas = new OffscreenCanvas(width, Math.min(rows, height));
  const context = canvas.getContext("2d", { willReadFrequently: true });
  if (!context) throw new Amiss("too large");
  for (let top = 0; top < height; top += rows) {
    const count = Math.min(rows, height - top);
    context.clearRect(0, 0, width, rows);
    context.drawImage(bitmap, 0, -top);
    const { data } = context.getImageData(0, 0, width, count);
    new Uint8Array(program.memory.buffer, band, data.length).set(data);
    program.picture_rows(count);
  }
  return by;
};

// The picture as it was measured, and what was counted in it, painted as strongly as it counts.
const shown = (width, height) => {
  const rgb = new Uint8Array(program.memory.buffer, program.picture_at(), width * height * 3);
  const pixels = new ImageData(width, height);
  for (let from = 0, to = 0; from < rgb.length; from += 3, to += 4) {
    pixels.data[to] = rgb[from];
    pixels.data[to + 1] = rgb[from + 1];
    pixels.data[to + 2] = rgb[from + 2];
    pixels.data[to + 3] = 255;
  }
  return createImageBitmap(pixels);
};

const painted = (cover, width, height) => {
  const pixels = new ImageData(width, height);
  cover.forEach((share, at) => {
    if (!share) return;
    [pixels.data[4 * at], pixels.data[4 * at + 1], pixels.data[4 * at + 2]] = PAINT;
    pixels.data[4 * at + 3] = Math.round(140 * share);
  });
  return createImageBitmap(pixels);
};

// The box that holds all leaf but a two-hundredth on each side, with a tenth of room; null without.
const leafBox = (cover, width, height) => {
  const [columns, rows] = [new Float64Array(width), new Float64Array(height)];
  cover.forEach((share, at) => {
    columns[at % width] += share;
    rows[Math.floor(at / width)] += share;
  });
  const all = rows.reduce((sum, share) => sum + share, 0);
  if (all < 1) return null;
  const ends = (sums) => {
    const reach = (list) => {
      let passed = 0;
      return list.findIndex((share) => (passed += share) > all / 200);
    };
    return [reach(sums), sums.length - reach([...sums].reverse())];
  };
  const [[left, right], [top, bottom]] = [ends(columns), ends(rows)];
  const room = Math.round(Math.max(right - left, bottom - top) / 10);
  return [
    Math.max(0, left - room), Math.max(0, top - room),
    Math.min(width, right + room), Math.min(height, bottom + room),
  ];
};

const measure = async ({ picture }) => {
  const began = performance.now();
  const bitmap = await decoded(picture);
  const whole = { width: bitmap.width, height: bitmap.height };
  let by;
  try {
    by = taken(bitmap);
  } finally {
    bitmap.close();
  }
  const width = program.picture_width();
  const height = program.picture_height();
  const told = by > 1 ? WHOLE : await detailOf(picture, width, height);
  program.tell(...told);
  program.measure();
  const cover = new Float32Array(program.memory.buffer, program.cover_at(), width * height).slice();
  measured = { width, height, cover };
  return {
    whole, by, width, height, told,
    leafBox: leafBox(cover, width, height),
    maskPixels: program.mask_px(), // of the whole picture, as `lapsekit mask` counts them
    preview: await shown(width, height),
    painted: await painted(cover, width, height),
    seconds: (performance.now() - began) / 1000,
  };
};

// Canopy within a box of the measured picture, in its pixels, and the length of its outline: steps
// between pixels count π/4, since slanting edges have more of them than they are long.
const area = ({ box: [left, top, right, bottom] }) => {
  const { width, cover } = measured;
  let pixels = 0;
  let steps = 0;
  for (let y = top; y < bottom; y += 1) {
    for (let x = left; x < right; x += 1) {
      const share = cover[y * width + x];
      pixels += share;
      if (x + 1 < right) steps += share >= 0.5 !== cover[y * width + x + 1] >= 0.5;
      if (y + 1 < bottom) steps += share >= 0.5 !== cover[(y + 1) * width + x] >= 0.5;
    }
  }
  return { pixels, outline: steps * Math.PI / 4 };
};

const answers = { start, measure, area };

const answer = async (data) => {
  try {
    const found = await answers[data.what](data);
    const moved = [found.preview, found.painted].filter(Boolean);
    self.postMessage({ id: data.id, found }, moved);
  } catch (error) {
    const memory = error instanceof RangeError || error instanceof WebAssembly.RuntimeError;
    const word = error.word || (memory ? "too large" : "failed");
    self.postMessage({ id: data.id, amiss: word, detail: `${error.cause || error}` });
  }
};

let last = Promise.resolve();
self.onmessage = ({ data }) => {
  last = last.then(() => answer(data));
};
