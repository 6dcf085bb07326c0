"use strict";
// Proposed outlines over the picture: those not ticked vanish, the chosen one can be changed.
(() => {
  const root = document.getElementById("proposed");
  if (!root) return;
  const found = JSON.parse(root.dataset.proposals);
  const rows = [...document.querySelectorAll(".list-of-proposed li")];
  const texts = rows.map((row) => row.querySelector("textarea"));
  const ticks = rows.map((row) => row.querySelector('input[name="take"]'));
  let chosen = -1;

  const draw = desk.outlines(desk.board(document.getElementById("board")), { changed });
  document.getElementById("tools").hidden = false;
  for (const text of texts) text.hidden = true;

  function changed() {
    if (chosen < 0 || !draw) return;
    found[chosen].points = draw.points.map((p) => [...p]);
    texts[chosen].value = draw.points.map((p) => p.join(", ")).join("\n");
  }

  function show() {
    const shown = found.map(({ points }, k) => ({ points, label: `${k + 1}`, kind: "proposed" }));
    draw.others = shown.filter((_, k) => ticks[k].checked && k !== chosen);
  }

  function choose(number) {
    chosen = -1; // what is in hand is put down first
    draw.set(number < 0 ? [] : found[number].points, number < 0 ? "" : `${number + 1}`);
    chosen = number;
    rows.forEach((row, k) => row.classList.toggle("is-chosen", k === number));
    show();
  }

  rows.forEach((row, number) => {
    const change = row.querySelector(".change");
    change.hidden = false;
    change.addEventListener("click", () => {
      ticks[number].checked = true;
      choose(number);
      document.getElementById("board").scrollIntoView({ block: "nearest" });
    });
    ticks[number].addEventListener("change", () => (number === chosen ? choose(-1) : show()));
  });
  const tools = [...document.querySelectorAll("[data-tool]")];
  for (const tool of tools)
    tool.addEventListener("click", () => {
      draw.tool = tool.dataset.tool;
      for (const each of tools) each.setAttribute("aria-pressed", each === tool);
    });
  document.getElementById("undo").addEventListener("click", draw.undo);
  document.getElementById("take").addEventListener("click", draw.removeCorner);
  document.querySelector("form[action$='/take']").addEventListener("submit", (event) => {
    if (chosen >= 0 && draw.trouble) {
      event.preventDefault();
      desk.say(`Number ${chosen + 1}: ${draw.trouble}`, "refusal");
    }
  });
  draw.tool = "corners";
  choose(-1);
})();
