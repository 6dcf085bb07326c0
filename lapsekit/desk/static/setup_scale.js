"use strict";
// Points of a scale are tapped in the picture; the net shows what the scale comes to.
(() => {
  const root = document.getElementById("board");
  if (!root) return;
  const board = desk.board(root);
  const told = document.getElementById("scale").dataset;
  const tags = JSON.parse(told.tags);
  const ruler = JSON.parse(told.ruler);
  const forms = [...document.querySelectorAll("form.way")];
  const chips = document.getElementById("way-chips");
  const svg = (name, of) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(of)) made.setAttribute(key, value);
    return made;
  };
  let way = told.way || (tags.length ? "tag" : "length");
  let dragged = -1;

  chips.hidden = false;
  chips.addEventListener("click", (event) => {
    const chip = event.target.closest("button");
    if (chip) choose(chip.dataset.way);
  });

  function choose(to) {
    way = to;
    for (const form of forms) form.hidden = form.dataset.way !== way;
    for (const chip of chips.children) chip.setAttribute("aria-pressed", chip.dataset.way === way);
    draw();
  }

  const fields = () => {
    const form = forms.find((each) => each.dataset.way === way);
    return [...form.querySelectorAll(".points .row")].map((row) => [...row.querySelectorAll("input")]);
  };
  const points = () =>
    fields().map(([x, y]) => (x.value !== "" && y.value !== "" ? [+x.value, +y.value] : null));

  function put(number, point) {
    const [x, y] = fields()[number];
    x.value = Math.round(point.x * 10) / 10;
    y.value = Math.round(point.y * 10) / 10;
    draw();
  }

  const near = (point) => {
    const all = points();
    const far = all.map((each) => (each ? Math.hypot(each[0] - point.x, each[1] - point.y) : Infinity));
    const best = far.indexOf(Math.min(...far));
    return far[best] < 26 * board.perPx ? best : -1;
  };

  board.on("down", (point) => {
    if (!fields().length) return;
    dragged = near(point);
    if (dragged < 0) dragged = points().indexOf(null);
    if (dragged >= 0) put(dragged, point);
  });
  board.on("move", (point) => dragged >= 0 && put(dragged, point));
  board.on("up", () => (dragged = -1));
  board.on("cancel", () => (dragged = -1));
  board.on("scale", draw);
  for (const form of forms) form.addEventListener("input", draw);

  function draw() {
    const by = board.perPx;
    const drawn = [];
    const path = (all, of) => drawn.push(svg("path", { d: `M${all.map((p) => p.join(" ")).join("L")}`, ...of }));
    if (ruler)
      for (const line of ruler.lines) {
        path(line, { class: "net-under", "stroke-width": 2.5 * by });
        path(line, { class: "net", "stroke-width": by });
      }
    for (const tag of tags)
      path([...tag.points, tag.points[0]], { class: "tag", "stroke-width": (way === "tag" ? 4 : 1.5) * by });
    const all = points().filter(Boolean);
    if (all.length > 1) {
      const line = all.length === 4 ? [...all, all[0]] : all;
      path(line, { class: "edge-under", "stroke-width": 5 * by });
      path(line, { class: "edge", "stroke-width": 2 * by });
    }
    points().forEach((each, number) => {
      if (!each) return;
      drawn.push(svg("circle", { cx: each[0], cy: each[1], r: 9 * by, class: "corner", "stroke-width": 2 * by }));
      const label = svg("text", { x: each[0] + 13 * by, y: each[1] - 8 * by, class: "label", "font-size": 15 * by, "stroke-width": 3 * by });
      label.textContent = number + 1;
      drawn.push(label);
    });
    board.layer.replaceChildren(...drawn);
  }

  choose(way);
})();
