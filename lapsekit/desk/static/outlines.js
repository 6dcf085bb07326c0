"use strict";
// Outlines drawn on a board: tapped, dragged, drawn around freely, or as circles; by keys too.
//
//   const draw = desk.outlines(board, { others: [{ label, points }], changed() {} });
// `chosen` is told of another outline that was tapped while nothing is changed in the one in hand.
//
//   draw.points           corners of the outline in hand, [[x, y], …]
//   draw.set(points, label)   take another in hand; what was done before cannot be undone then
//   draw.tool = "corners" | "free" | "circle" | "move" | "hand"
//   draw.undo(), draw.redo(), draw.removeCorner(), draw.trouble   "" or why it cannot be used
//
// With the tool for corners: a tap sets the next one; tapping the first again (or Close) ends; then
// a corner is dragged, a tap on an edge adds one, a long press or Delete takes one away.
desk.outlines = (board, { others = [], changed = () => {}, chosen = () => {} } = {}) => {
  const CORNER = 22; // px of the screen: a fingertip's reach
  const EDGE = 14;
  const LONG_MS = 550;
  const state = { points: [], label: "", isOpen: true, chosen: -1, tool: "corners", others };
  let past = [];
  let future = [];
  let grip = null; // what a finger holds: { kind, … }
  let press = 0;

  const copy = () => ({ points: state.points.map((p) => [...p]), isOpen: state.isOpen });
  const away = (p, q) => Math.hypot(p[0] - q[0], p[1] - q[1]) / board.perPx;
  const inside = ([x, y]) => [
    Math.min(board.full.width, Math.max(0, Math.round(x))),
    Math.min(board.full.height, Math.max(0, Math.round(y))),
  ];

  function remember() {
    past.push(copy());
    if (past.length > 200) past.shift();
    future = [];
  }

  function restore(from, to) {
    if (!from.length) return;
    to.push(copy());
    Object.assign(state, from.pop());
    state.chosen = -1;
    told();
  }

  function told() {
    render();
    changed();
  }

  // ---- what lies under a point

  function cornerAt(point) {
    let best = -1;
    state.points.forEach((each, number) => {
      if (away(each, point) < CORNER && (best < 0 || away(each, point) < away(state.points[best], point)))
        best = number;
    });
    return best;
  }

  function edgeAt(point) {
    let best = -1;
    let least = EDGE;
    const count = state.points.length;
    for (let k = 0; k < count - (state.isOpen ? 1 : 0); k++) {
      const [a, b] = [state.points[k], state.points[(k + 1) % count]];
      const along = [b[0] - a[0], b[1] - a[1]];
      const length = along[0] ** 2 + along[1] ** 2 || 1;
      const share = ((point[0] - a[0]) * along[0] + (point[1] - a[1]) * along[1]) / length;
      const t = Math.min(1, Math.max(0, share));
      const far = away([a[0] + t * along[0], a[1] + t * along[1]], point);
      if (far < least) [best, least] = [k, far];
    }
    return best;
  }

  // Whether a point lies inside an outline: a ray from it meets the edges an odd number of times.
  function encloses(points, [x, y]) {
    let isInside = false;
    points.forEach(([x1, y1], k) => {
      const [x2, y2] = points[(k + 1) % points.length];
      if (y1 > y !== y2 > y && x < x1 + ((y - y1) * (x2 - x1)) / (y2 - y1)) isInside = !isInside;
    });
    return isInside;
  }

  // ---- fingers, mouse, keys

  board.on("down", ({ x, y, how }) => {
    const point = inside([x, y]);
    if (state.tool === "free") grip = { kind: "free", path: [point] };
    else if (state.tool === "circle") grip = { kind: "circle", middle: point };
    else if (state.tool === "move") grip = { kind: "move", from: point, was: copy(), isNew: true };
    else if (state.tool === "corners") hold(point, how);
    if (grip) grip.began = point;
  });

  function hold(point, how) {
    const corner = cornerAt(point);
    if (corner === 0 && state.isOpen && state.points.length >= 3) {
      grip = { kind: "close" };
      return;
    }
    if (corner >= 0) {
      state.chosen = corner;
      grip = { kind: "drag", corner, isNew: true };
      if (how !== "keys") press = setTimeout(() => pressed(corner), LONG_MS);
      told();
      return;
    }
    const edge = edgeAt(point);
    if (edge < 0 && !state.isOpen) {
      const other = past.length ? undefined : state.others.find((each) => encloses(each.points, point));
      if (other && !encloses(state.points, point)) chosen(other);
      return;
    }
    remember();
    const at = edge >= 0 && !state.isOpen ? edge + 1 : state.points.length;
    state.points.splice(at, 0, point);
    state.chosen = at;
    grip = { kind: "drag", corner: at, isNew: false };
    told();
  }

  function pressed(corner) {
    if (!grip || grip.kind !== "drag" || !grip.isNew) return;
    grip = null;
    take(corner);
  }

  board.on("move", ({ x, y }) => {
    if (!grip) return;
    const point = inside([x, y]);
    if (grip.kind === "drag") {
      if (grip.isNew && away(point, grip.began) < 5) return; // a finger is never quite still
      clearTimeout(press);
      if (grip.isNew) remember();
      grip.isNew = false;
      state.points[grip.corner] = point;
    } else if (grip.kind === "free") {
      if (away(grip.path.at(-1), point) > 3) grip.path.push(point);
    } else if (grip.kind === "circle") {
      grip.rim = point;
    } else if (grip.kind === "move") {
      if (grip.isNew) remember();
      grip.isNew = false;
      const off = [point[0] - grip.from[0], point[1] - grip.from[1]];
      state.points = shifted(grip.was.points, off);
    }
    if (grip.kind === "drag" || grip.kind === "move") told();
    else render();
  });

  function shifted(points, off) {
    const [xs, ys] = [points.map((p) => p[0]), points.map((p) => p[1])];
    const within = (low, high, by, most) => Math.min(most - high, Math.max(-low, by));
    const x = within(Math.min(...xs), Math.max(...xs), off[0], board.full.width);
    const y = within(Math.min(...ys), Math.max(...ys), off[1], board.full.height);
    return points.map((p) => inside([p[0] + x, p[1] + y]));
  }

  board.on("up", () => {
    clearTimeout(press);
    const held = grip;
    grip = null;
    if (!held) return;
    if (held.kind === "close") close();
    else if (held.kind === "free" && held.path.length > 5) whole(simplified(held.path, 2.5 * board.perPx));
    else if (held.kind === "circle" && held.rim) whole(circle(held.middle, held.rim));
    else render();
  });
  board.on("cancel", () => {
    clearTimeout(press);
    if (grip && grip.kind === "drag" && !grip.isNew) restore(past, []);
    grip = null;
    render();
  });
  board.on("scale", () => render());
  board.root.querySelector(".board-view").addEventListener("keydown", (event) => {
    if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      if (state.chosen >= 0) take(state.chosen);
    } else if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z") {
      event.preventDefault();
      restore(...(event.shiftKey ? [future, past] : [past, future]));
    }
  });

  // ---- what is done to the outline

  function whole(points) {
    if (points.length < 3) return render();
    remember();
    Object.assign(state, { points, isOpen: false, chosen: -1 });
    told();
  }

  function close() {
    if (state.points.length < 3) return;
    remember();
    state.isOpen = false;
    state.chosen = -1;
    told();
  }

  function take(corner) {
    if (!state.points[corner]) return;
    remember();
    state.points.splice(corner, 1);
    state.chosen = -1;
    if (state.points.length < 3) state.isOpen = true;
    told();
  }

  function circle(middle, rim) {
    const radius = Math.hypot(rim[0] - middle[0], rim[1] - middle[1]);
    return Array.from({ length: 20 }, (_, k) => {
      const turn = (2 * Math.PI * k) / 20;
      return inside([middle[0] + radius * Math.cos(turn), middle[1] + radius * Math.sin(turn)]);
    });
  }

  // Few corners that leave a drawn line nowhere by more than `off` (Ramer 1972; Douglas & Peucker 1973).
  function simplified(path, off) {
    const kept = (from, to) => {
      let worst = from;
      let most = off;
      for (let k = from + 1; k < to; k++) {
        const far = fromLine(path[k], path[from], path[to]);
        if (far > most) [worst, most] = [k, far];
      }
      return worst === from ? [] : [...kept(from, worst), worst, ...kept(worst, to)];
    };
    let farthest = 0; // a closed line has no ends: it is cut where it is farthest from its beginning
    path.forEach((p, k) => {
      if (away(p, path[0]) > away(path[farthest], path[0])) farthest = k;
    });
    return [0, ...kept(0, farthest), farthest, ...kept(farthest, path.length - 1)].map((k) => path[k]);
  }

  function fromLine(p, a, b) {
    const [x, y] = [b[0] - a[0], b[1] - a[1]];
    const length = x * x + y * y;
    const t = length ? Math.min(1, Math.max(0, ((p[0] - a[0]) * x + (p[1] - a[1]) * y) / length)) : 0;
    return Math.hypot(p[0] - a[0] - t * x, p[1] - a[1] - t * y);
  }

  const side = (a, b, c) => (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
  function crosses() {
    const all = state.points;
    const edges = all.map((p, k) => [p, all[(k + 1) % all.length]]);
    if (state.isOpen) edges.pop();
    return edges.some(([a, b], i) =>
      edges.some(([c, d], j) => j > i + 1 && side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0),
    );
  }

  function trouble() {
    if (crosses()) return "The outline crosses itself: drag a corner, or undo.";
    if (state.points.length < 3) return "An outline needs three corners at least.";
    const area = state.points.reduce((sum, [x, y], k) => {
      const [u, v] = state.points[(k + 1) % state.points.length];
      return sum + x * v - u * y;
    }, 0);
    return Math.abs(area) < 2 ? "The outline encloses nothing." : "";
  }

  // ---- drawing

  const svg = (name, of, text = "") => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(of)) made.setAttribute(key, value);
    made.textContent = text;
    return made;
  };
  const d = (points, isOpen) => (points.length ? `M${points.map((p) => p.join(" ")).join("L")}${isOpen ? "" : "Z"}` : "");

  function shape(points, isOpen, label, kind, by) {
    const group = svg("g", { class: kind });
    if (!points.length) return group;
    if (!isOpen && kind.startsWith("current")) group.append(svg("path", { d: d(points, false), class: "fill" }));
    const wide = kind === "other" ? 1.6 : 2.4;
    group.append(svg("path", { d: d(points, isOpen), class: "edge-under", "stroke-width": (wide + 2.4) * by }));
    group.append(svg("path", { d: d(points, isOpen), class: "edge", "stroke-width": wide * by }));
    if (label) group.append(named(points, label, by));
    return group;
  }

  function named(points, label, by) {
    const left = Math.min(...points.map((p) => p[0]));
    const top = Math.min(...points.map((p) => p[1]));
    const at = { x: left + 5 * by, y: Math.max(top + 16 * by, 16 * by), class: "label", "font-size": 14 * by, "stroke-width": 3 * by };
    const width = Math.max(...points.map((p) => p[0])) - left;
    const most = Math.floor(width / (9 * by));
    if (most < 3 && label.length > most) return svg("g", {}); // it would stand in its neighbours
    return svg("text", at, label.length > most ? `${label.slice(0, most - 1)}…` : label);
  }

  function render() {
    const by = board.perPx;
    const drawn = state.others.map((each) => shape(each.points, false, each.label, each.kind || "other", by));
    drawn.push(shape(state.points, state.isOpen, state.label, `current${crosses() ? " crosses" : ""}`, by));
    if (grip && grip.kind === "free") drawn.push(shape(grip.path, true, "", "current", by));
    if (grip && grip.kind === "circle" && grip.rim) drawn.push(shape(circle(grip.middle, grip.rim), false, "", "current", by));
    if (state.tool === "corners" || state.points.length < 3)
      state.points.forEach(([x, y], number) => {
        const kind = `corner${number === state.chosen ? " chosen" : ""}`;
        const r = (number === state.chosen || (number === 0 && state.isOpen) ? 9 : 7) * by;
        drawn.push(svg("circle", { cx: x, cy: y, r, class: kind, "stroke-width": 1.6 * by }));
      });
    board.layer.replaceChildren(...drawn);
  }

  const draw = {
    set(points, label = "") {
      Object.assign(state, { points: points.map((p) => [...p]), label, isOpen: points.length < 3, chosen: -1 });
      [past, future] = [[], []];
      told();
    },
    replace(points) {
      remember();
      Object.assign(state, { points: points.map((p) => [...p]), isOpen: points.length < 3, chosen: -1 });
      told();
    },
    undo: () => restore(past, future),
    redo: () => restore(future, past),
    close,
    removeCorner: () => take(state.chosen >= 0 ? state.chosen : state.points.length - 1),
    render,
    get points() { return state.points; },
    get isOpen() { return state.isOpen; },
    get trouble() { return trouble(); },
    get crosses() { return crosses(); },
    get canUndo() { return past.length > 0; },
    get canRedo() { return future.length > 0; },
    get tool() { return state.tool; },
    set tool(tool) {
      state.tool = tool;
      board.draws = tool !== "hand";
      board.root.querySelector(".board-view").classList.toggle("moves", tool === "hand");
      render();
    },
    set others(all) {
      state.others = all;
      render();
    },
    set label(text) {
      state.label = text;
      render();
    },
  };
  render();
  return draw;
};
