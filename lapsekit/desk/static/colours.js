"use strict";
// Painting: each stroke goes to the desk, which answers with the mask as measuring would have it.
(() => {
  const page = document.getElementById("colours");
  if (!page) return;
  const root = document.getElementById("board");
  const board = desk.board(root);
  document.querySelector(".paints").before(root.querySelector(".board-tools")); // at hand, and never beneath
  const view = root.querySelector(".board-view");
  const field = document.getElementById("strokes");
  const wide = document.getElementById("wide");
  const dim = document.getElementById("dim");
  const state = document.getElementById("state");
  const back = document.getElementById("back");
  let kind = "plant";
  let stroke = null;
  let asked = 0;
  let shown = 0;
  let maskAddress = null;

  const make = (name, values) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(values)) made.setAttribute(key, value);
    return made;
  };
  const { width, height } = board.full;
  const mask = make("image", { x: 0, y: 0, width, height, preserveAspectRatio: "none" });
  const outlines = make("g", {});
  const paints = make("g", {});
  board.layer.append(mask, outlines, paints);

  const lines = () => field.value.split("\n").map((line) => line.trim()).filter(Boolean);
  const points = (numbers) => numbers.map((n, k) => (k % 2 ? `${n} ` : `${n},`)).join("").trim();

  function paint() {
    const parts = [];
    for (const line of [...lines(), ...(stroke ? [told(stroke)] : [])]) {
      const [word, px, ...numbers] = line.split(/\s+/);
      if (!["plant", "other"].includes(word) || numbers.length < 2) continue;
      const along = points(numbers.length === 2 ? [...numbers, ...numbers] : numbers);
      parts.push(
        make("polyline", { class: `paint ${word}`, points: along, "stroke-width": px }),
        make("polyline", { class: `paint-core ${word}`, points: along }),
      );
    }
    paints.replaceChildren(...parts);
    back.disabled = lines().length === 0;
  }

  const told = (made) => [made.kind, made.px, ...made.points.map((n) => n.toFixed(1))].join(" ");

  async function show() {
    const number = ++asked;
    const began = performance.now();
    const headers = { "x-form-token": desk.token, accept: "image/png, application/json" };
    const body = new URLSearchParams({ strokes: lines().join("\n") });
    try {
      const answer = await fetch(`${page.dataset.at}/try`, { method: "POST", headers, body });
      if (!answer.ok) {
        const said = await answer.text();
        let why = said;
        try {
          why = JSON.parse(said).error;
        } catch {
          // plain text says why, too
        }
        throw new Error(why);
      }
      const covers = JSON.parse(decodeURIComponent(answer.headers.get("x-covers")));
      const picture = await answer.blob();
      if (number < shown) return; // a later one was quicker
      shown = number;
      const next = URL.createObjectURL(picture);
      mask.setAttribute("href", next);
      if (maskAddress) URL.revokeObjectURL(maskAddress);
      maskAddress = next;
      list(covers);
      tooFar(covers);
      const took = Math.round(performance.now() - began);
      page.dataset.took = took;
      page.dataset.shown = number;
      state.textContent = lines().length
        ? `${lines().length} new stroke${lines().length === 1 ? "" : "s"}, not kept yet.`
        : "As it is measured now.";
    } catch (error) {
      state.textContent = error.message;
      page.dataset.failed = number;
    }
  }

  // A stroke that takes nearly all of a region away, or fills nearly all of it, says so at once.
  const GONE = 0.1;
  const FILLED = 0.97;
  const LEAST = 0.01;

  const some = (all) => all.slice(0, 3).join("; ") + (all.length > 3 ? `; and ${all.length - 3} more` : "");

  function tooFar(covers) {
    const [gone, filled] = [[], []];
    for (const { title, before, after } of covers) {
      const told = `${title} from ${percent(before)} to ${percent(after)}`;
      if (before >= LEAST && after < GONE * before) gone.push(told);
      else if (after >= FILLED && 1 - before >= LEAST && 1 - after < GONE * (1 - before)) filled.push(told);
    }
    const parts = [];
    if (gone.length) parts.push(`With these strokes nearly nothing counts as plant any more: ${some(gone)}.`);
    if (filled.length) parts.push(`With these strokes nearly all counts as plant: ${some(filled)}.`);
    if (parts.length) parts.push("Undo the stroke and paint a shorter one, or paint beside it what it took by mistake.");
    const box = document.getElementById("too-far");
    const text = lines().length ? parts.join(" ") : "";
    if (box.firstElementChild.textContent !== text) box.firstElementChild.textContent = text;
    box.hidden = !text;
  }

  const percent = (share) => `${(100 * share).toFixed(1)} %`;

  function list(covers) {
    const rows = covers.map(({ title, before, after }) => {
      const row = document.createElement("tr");
      for (const [text, name] of [[title, ""], [percent(before), "number"], [percent(after), "number"]]) {
        const cell = document.createElement("td");
        cell.textContent = text;
        cell.className = name;
        row.append(cell);
      }
      row.lastChild.classList.toggle("changed", percent(before) !== percent(after));
      return row;
    });
    document.getElementById("covers").replaceChildren(...rows);
  }

  board
    .on("down", ({ x, y }) => {
      stroke = { kind, px: wide.value, points: [x, y] };
      paint();
    })
    .on("move", ({ x, y }) => {
      if (!stroke) return;
      const [lastX, lastY] = stroke.points.slice(-2);
      if (Math.hypot(x - lastX, y - lastY) < Math.max(1.5, board.perPx * 2)) return;
      stroke.points.push(x, y);
      paint();
    })
    .on("cancel", () => {
      stroke = null;
      paint();
    })
    .on("up", () => {
      if (!stroke) return;
      field.value = [...lines(), told(stroke)].join("\n");
      stroke = null;
      paint();
      show();
    });

  function choose(next) {
    kind = next;
    board.draws = kind !== "look";
    view.classList.toggle("moves", !board.draws);
    for (const button of page.querySelectorAll("[data-kind]"))
      button.setAttribute("aria-pressed", String(button.dataset.kind === kind));
  }
  for (const button of page.querySelectorAll("[data-kind]"))
    button.addEventListener("click", () => choose(button.dataset.kind));
  const said = document.getElementById("wide-said");
  const tellWidth = () => (said.textContent = `${wide.value} px`);
  wide.addEventListener("input", tellWidth);
  dim.addEventListener("change", () => (mask.style.display = dim.checked ? "" : "none"));
  function takeBack() {
    field.value = lines().slice(0, -1).join("\n");
    paint();
    show();
  }
  back.addEventListener("click", takeBack);
  document.getElementById("too-far-back").addEventListener("click", () => {
    takeBack();
    view.focus({ preventScroll: true }); // the button goes with what it is about
  });
  document.getElementById("try").addEventListener("click", () => {
    paint();
    show();
  });
  document.getElementById("keep-form").addEventListener("submit", (event) => {
    if (lines().length) return;
    event.preventDefault();
    state.textContent = "Paint a stroke first.";
  });
  tellWidth();
  choose("plant");
  paint();
  show();
})();
