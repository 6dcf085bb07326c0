"use strict";
// Parts and areas of a follower's picture, drawn on it or typed: both say the same.
(() => {
  const root = document.getElementById("board");
  if (!root) return;
  const board = desk.board(root);
  const view = root.querySelector(".board-view");
  const form = document.getElementById("areas");
  const [drawn, keep, leave] = ["drawn", "keep-areas", "leave-areas"].map((id) => document.getElementById(id));
  const fields = { crop: document.getElementById("crop"), blur: document.getElementById("blurred") };
  let mode = "look";
  let begun = null;

  const read = (field) =>
    field.value
      .split("\n")
      .map((line) => line.trim().split(/\s+/).map(Number))
      .filter((box) => box.length === 4 && box.every(Number.isFinite));

  function rect(kind, [left, top, right, bottom]) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    made.setAttribute("class", kind);
    made.setAttribute("x", left);
    made.setAttribute("y", top);
    made.setAttribute("width", Math.max(0, right - left));
    made.setAttribute("height", Math.max(0, bottom - top));
    return made;
  }

  function draw(unfinished = null) {
    const { width, height } = board.full;
    const parts = [];
    const crop = (mode === "crop" && unfinished) || read(fields.crop)[0];
    if (crop) {
      const [left, top, right, bottom] = crop;
      for (const box of [[0, 0, width, top], [0, bottom, width, height], [0, top, left, bottom], [right, top, width, bottom]])
        parts.push(rect("outside", box));
      parts.push(rect("box-under", crop), rect("box", crop));
    }
    const blurred = read(fields.blur);
    if (mode === "blur" && unfinished) blurred.push(unfinished);
    for (const box of blurred) parts.push(rect("box-under", box), rect("box blurred", box));
    board.layer.replaceChildren(...parts);
    tell();
  }

  // ---- what is drawn and not kept yet: never lost without a word, for a face may be under it

  const same = (text) => text.trim().split(/\s+/).join(" ");
  const isChanged = (field) => same(field.value) !== same(field.defaultValue);
  const canShow = document.querySelector("button[formaction]:not([disabled])") !== null;
  let isSent = false;

  function tell() {
    const [part, areas] = [isChanged(fields.crop), isChanged(fields.blur)];
    keep.hidden = leave.hidden = drawn.hidden = !(part || areas);
    keep.textContent = part && areas ? "Keep part and areas" : part ? "Keep this part" : "Blur these";
    const what = [part ? "the part that is shown" : "", areas ? "what is blurred" : ""].filter(Boolean).join(", and ");
    const told = `Not kept yet: ${what}.${canShow ? " “Show it” keeps it too." : ""}`;
    if (!drawn.hidden && drawn.textContent !== told) drawn.textContent = told;
  }

  leave.addEventListener("click", () => {
    for (const field of Object.values(fields)) field.value = field.defaultValue;
    draw();
  });
  form.addEventListener("submit", (event) => {
    if (!begun) return (isSent = true);
    event.preventDefault();
    desk.say("An area is begun and not ended: end it, or put the finger on “Look”.", "refusal");
  });
  window.addEventListener("pageshow", () => (isSent = false));
  window.addEventListener("beforeunload", (event) => {
    if (!isSent && Object.values(fields).some(isChanged)) event.preventDefault();
  });

  const between = (a, b) => [
    Math.round(Math.min(a.x, b.x)),
    Math.round(Math.min(a.y, b.y)),
    Math.round(Math.max(a.x, b.x)),
    Math.round(Math.max(a.y, b.y)),
  ];

  board
    .on("down", (point) => (begun = point))
    .on("move", (point) => begun && draw(between(begun, point)))
    .on("cancel", () => {
      begun = null;
      draw();
    })
    .on("up", (point) => {
      if (!begun) return;
      const box = between(begun, point);
      begun = null;
      if (box[2] - box[0] > 3 && box[3] - box[1] > 3) {
        if (mode === "crop") fields.crop.value = box.join(" ");
        else fields.blur.value = [...read(fields.blur), box].map((each) => each.join(" ")).join("\n");
      }
      draw();
    });

  function choose(next) {
    mode = next;
    begun = null;
    board.draws = mode !== "look";
    view.classList.toggle("moves", !board.draws);
    for (const button of document.querySelectorAll("[data-mode]"))
      button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
  }
  for (const button of document.querySelectorAll("[data-mode]"))
    button.addEventListener("click", () => choose(button.dataset.mode));
  for (const field of Object.values(fields)) field.addEventListener("input", () => draw());
  choose("look");
  draw();
})();
