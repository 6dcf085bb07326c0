"use strict";
// Outlines of regions: the chosen one is drawn, its neighbours are shown; numbers say the same.
(() => {
  const find = (id) => document.getElementById(id);
  const told = find("regions").dataset;
  const current = JSON.parse(told.current);
  const form = find("outline-form");
  const [drawn, rows, text, label] = ["drawn", "corner-rows", "f-points", "f-label"].map(find);
  const board = desk.board(find("board"));
  const draw = desk.outlines(board, { others: JSON.parse(told.others), changed, chosen });

  find("dock").hidden = find("rows").hidden = false;
  find("as-text").hidden = true;
  const tools = [...document.querySelectorAll("[data-tool]")];
  const hasFinger = matchMedia("(pointer: coarse)").matches;
  const says = {
    corners: hasFinger
      ? "Tap the corners in order around the plant's place."
      : "Click the corners in order around the plant's place; by keys, arrows move the cross and Enter sets one.",
    free: "Draw around the plant's place with one stroke.",
    circle: "Press on the middle, pull to the rim.",
    move: "Pull the whole outline.",
    hand: "Pull the picture; two fingers bring it closer.",
  };

  function chosen({ name }) {
    const there = new URLSearchParams({ day: form.elements.day.value, region: name });
    location.assign(`${location.pathname}?${there}`);
  }

  function changed() {
    if (!draw) return;
    text.value = draw.points.map((p) => p.join(", ")).join("\n");
    find("undo").disabled = !draw.canUndo;
    find("redo").disabled = !draw.canRedo;
    find("take").disabled = !draw.points.length;
    find("close").disabled = !draw.isOpen || draw.points.length < 3;
    find("anew").disabled = !draw.points.length;
    say();
    list();
  }

  function say() {
    const count = draw.points.length;
    if (draw.crosses) drawn.textContent = draw.trouble;
    else if (!count || draw.tool !== "corners") drawn.textContent = says[draw.tool];
    else if (draw.isOpen)
      drawn.textContent = count < 3 ? `${count} of three corners at least.` : `${count} corners; ${hasFinger ? "tap" : "click"} the first again, or Close.`;
    else drawn.textContent = hasFinger
      ? `${count} corners. Pull one; tap an edge to add one; press long to take one away.`
      : `${count} corners. Pull one; click an edge to add one; Delete takes the chosen one away.`;
    drawn.classList.toggle("refusal", draw.crosses);
  }

  // Numbers are made anew only when their count changed: whoever types in one keeps it.
  function list() {
    const points = draw.points;
    if (rows.children.length !== points.length)
      rows.replaceChildren(...points.map((_, number) => row(number)));
    points.forEach((point, number) => {
      const fields = rows.children[number].querySelectorAll("input");
      fields.forEach((field, axis) => {
        if (field !== document.activeElement) field.value = point[axis];
      });
    });
  }

  function row(number) {
    const line = document.createElement("li");
    const count = Object.assign(document.createElement("span"), { textContent: `${number + 1}.` });
    line.append(count);
    ["px from the left", "px from the top"].forEach((name, axis) => {
      const field = Object.assign(document.createElement("input"), { type: "number", step: "any", min: 0 });
      field.setAttribute("aria-label", `Corner ${number + 1}, ${name}`);
      field.addEventListener("change", () => {
        const points = draw.points.map((p) => [...p]);
        if (Number.isFinite(field.valueAsNumber)) points[number][axis] = field.valueAsNumber;
        draw.replace(points);
      });
      line.append(field);
    });
    const away = Object.assign(document.createElement("button"), { type: "button", textContent: "✕" });
    away.setAttribute("aria-label", `Take corner ${number + 1} away`);
    away.addEventListener("click", () => draw.replace(draw.points.filter((_, k) => k !== number)));
    line.append(away);
    return line;
  }

  find("add-corner").addEventListener("click", () => {
    const all = draw.points;
    const [a, b] = [all.at(-1), all[0]];
    const between = all.length > 1 ? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] : [board.full.width / 2, board.full.height / 2];
    draw.replace([...all, between]);
    rows.lastElementChild.querySelector("input").focus();
  });
  for (const tool of tools)
    tool.addEventListener("click", () => {
      draw.tool = tool.dataset.tool;
      for (const each of tools) each.setAttribute("aria-pressed", each === tool);
      say();
    });
  find("undo").addEventListener("click", draw.undo);
  find("redo").addEventListener("click", draw.redo);
  find("take").addEventListener("click", draw.removeCorner);
  find("close").addEventListener("click", draw.close);
  find("anew").addEventListener("click", () => draw.replace([]));
  label.addEventListener("input", () => (draw.label = label.value));

  form.addEventListener("submit", (event) => {
    const isWhole = !draw.points.length && form.elements.region.value;
    if (!isWhole && draw.trouble) {
      event.preventDefault();
      desk.say(draw.trouble, "refusal");
      find("board").scrollIntoView({ block: "nearest" });
    }
  });
  draw.set(current.points, current.label);
  const [chips, chip] = [".chips.of-regions", ".chips.of-regions [aria-current]"].map((each) => document.querySelector(each));
  chips.scrollLeft = chip.offsetLeft - chips.offsetLeft - 8;
})();
