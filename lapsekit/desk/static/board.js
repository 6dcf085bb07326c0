"use strict";
// A picture that is looked at closely and pointed at, by finger, mouse, pen or keys.
//
//   const board = desk.board(document.getElementById("board"));
//   board.on("down" | "move" | "up" | "cancel", ({x, y, how}) => …)
//
// x and y are px of the whole frame (data-width, data-height), whatever is shown. A tap is a down
// and an up at one place. Two fingers move and magnify; what one finger had begun is cancelled.
// While `board.draws` is false, one finger or the mouse moves the picture. By keys: arrows move a
// cross, Enter is a tap, Space puts the pen down and lifts it. `board.layer` is an SVG in px of the
// frame; `board.perPx` says how many of them one px of the screen is, for lines of constant width,
// and "scale" is told when it changes.
desk.board = (root) => {
  const view = root.querySelector(".board-view");
  const sheet = root.querySelector(".board-sheet");
  const layer = root.querySelector(".board-layer");
  const cross = root.querySelector(".board-cross");
  const place = root.querySelector(".board-place");
  const full = { width: +root.dataset.width, height: +root.dataset.height };
  const heard = { down: [], move: [], up: [], cancel: [], scale: [] };
  const at = { zoom: 1, x: 0, y: 0 }; // magnification, and where the sheet's corner lies in the view
  const fingers = new Map();
  let pinch = null;
  let stroke = null; // "draw", "pan", or null
  const cursor = { x: full.width / 2, y: full.height / 2, isDown: false };
  const board = { root, layer, full, draws: true, perPx: 1 };

  view.style.maxWidth = `calc(78vh * ${full.width / full.height})`; // the whole of it can be seen

  const tell = (what, point, how) => heard[what].forEach((hear) => hear({ ...point, how }));
  board.on = (what, hear) => {
    heard[what].push(hear);
    return board;
  };

  const fitted = () => view.clientWidth / full.width; // px of the screen for one px of the frame

  function lay() {
    const width = view.clientWidth;
    const height = view.clientHeight;
    const most = [width * at.zoom, (width * full.height * at.zoom) / full.width];
    at.x = Math.min(0, Math.max(width - most[0], at.x));
    at.y = Math.min(0, Math.max(height - most[1], at.y));
    sheet.style.transform = `translate(${at.x}px, ${at.y}px) scale(${at.zoom})`;
    board.perPx = 1 / (fitted() * at.zoom);
    layer.style.setProperty("--per-px", board.perPx);
    showCross();
    tell("scale", {}, "");
  }

  function pointOf(event) {
    const box = view.getBoundingClientRect();
    const by = fitted() * at.zoom;
    const x = (event.clientX - box.left - at.x) / by;
    const y = (event.clientY - box.top - at.y) / by;
    return { x: Math.min(full.width, Math.max(0, x)), y: Math.min(full.height, Math.max(0, y)) };
  }

  function zoomTo(zoom, middleX, middleY) {
    const to = Math.min(16, Math.max(1, zoom));
    at.x = middleX - ((middleX - at.x) * to) / at.zoom;
    at.y = middleY - ((middleY - at.y) * to) / at.zoom;
    at.zoom = to;
    lay();
  }

  function middle() {
    const [a, b] = [...fingers.values()];
    const box = view.getBoundingClientRect();
    return {
      x: (a.clientX + b.clientX) / 2 - box.left,
      y: (a.clientY + b.clientY) / 2 - box.top,
      apart: Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY),
    };
  }

  view.addEventListener("pointerdown", (event) => {
    if (event.button > 1) return;
    view.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event);
    hideCross();
    if (fingers.size === 2) {
      if (stroke === "draw") tell("cancel", pointOf(event), event.pointerType);
      stroke = null;
      pinch = { ...middle(), zoom: at.zoom };
      return;
    }
    if (fingers.size > 2) return;
    stroke = board.draws && event.button === 0 ? "draw" : "pan";
    if (stroke === "draw") tell("down", pointOf(event), event.pointerType);
    event.preventDefault();
    view.focus({ preventScroll: true });
  });

  view.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    fingers.set(event.pointerId, event);
    if (fingers.size === 2 && pinch) {
      const now = middle();
      at.x += now.x - pinch.x;
      at.y += now.y - pinch.y;
      zoomTo((at.zoom * now.apart) / Math.max(1, pinch.apart), now.x, now.y);
      pinch = { ...now };
    } else if (stroke === "draw") {
      const all = event.getCoalescedEvents ? event.getCoalescedEvents() : [];
      for (const each of all.length ? all : [event]) tell("move", pointOf(each), event.pointerType);
    } else if (stroke === "pan") {
      at.x += event.clientX - before.clientX;
      at.y += event.clientY - before.clientY;
      lay();
    }
  });

  const lifted = (what) => (event) => {
    if (!fingers.delete(event.pointerId)) return;
    if (stroke === "draw") tell(what, pointOf(event), event.pointerType);
    if (fingers.size < 2) pinch = null;
    stroke = null;
  };
  view.addEventListener("pointerup", lifted("up"));
  view.addEventListener("pointercancel", lifted("cancel"));

  view.addEventListener(
    "wheel",
    (event) => {
      const box = view.getBoundingClientRect();
      const to = at.zoom * Math.exp(-event.deltaY / 400);
      if (to <= 1 && at.zoom === 1) return; // the page scrolls on
      event.preventDefault();
      zoomTo(to, event.clientX - box.left, event.clientY - box.top);
    },
    { passive: false },
  );

  // ---- by keys

  function showCross() {
    if (cross.hidden) return;
    const by = fitted() * at.zoom;
    cross.style.transform = `translate(${at.x + cursor.x * by}px, ${at.y + cursor.y * by}px)`;
    cross.classList.toggle("is-down", cursor.isDown);
  }

  function hideCross() {
    if (cursor.isDown) tell("up", { ...cursor }, "keys");
    cursor.isDown = false;
    cross.hidden = true;
  }

  function follow() {
    const by = fitted() * at.zoom;
    const [x, y] = [at.x + cursor.x * by, at.y + cursor.y * by];
    const rim = 24;
    at.x += Math.max(0, rim - x) - Math.max(0, x - view.clientWidth + rim);
    at.y += Math.max(0, rim - y) - Math.max(0, y - view.clientHeight + rim);
    lay();
  }

  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  view.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const point = () => ({ x: cursor.x, y: cursor.y });
    if (steps[event.key]) {
      cross.hidden = false;
      const by = (event.shiftKey ? 40 : 6) * board.perPx;
      cursor.x = Math.min(full.width, Math.max(0, cursor.x + by * steps[event.key][0]));
      cursor.y = Math.min(full.height, Math.max(0, cursor.y + by * steps[event.key][1]));
      follow();
      if (cursor.isDown) tell("move", point(), "keys");
      place.textContent = `${Math.round(cursor.x)} across, ${Math.round(cursor.y)} down`;
    } else if (event.key === "Enter" && !cross.hidden) {
      tell("down", point(), "keys");
      tell("up", point(), "keys");
    } else if (event.key === " " && !cross.hidden) {
      cursor.isDown = !cursor.isDown;
      tell(cursor.isDown ? "down" : "up", point(), "keys");
      showCross();
    } else if (event.key === "+" || event.key === "-") {
      const by = fitted() * at.zoom;
      zoomTo(at.zoom * (event.key === "+" ? 1.5 : 1 / 1.5), at.x + cursor.x * by, at.y + cursor.y * by);
    } else return;
    event.preventDefault();
  });
  view.addEventListener("focus", () => {
    if (view.matches(":focus-visible")) {
      cross.hidden = false;
      showCross();
    }
  });
  view.addEventListener("blur", hideCross);

  const half = () => [view.clientWidth / 2, view.clientHeight / 2];
  root.querySelector(".board-closer").addEventListener("click", () => zoomTo(at.zoom * 1.6, ...half()));
  root.querySelector(".board-farther").addEventListener("click", () => zoomTo(at.zoom / 1.6, ...half()));
  root.querySelector(".board-whole").addEventListener("click", () => zoomTo(1, 0, 0));
  new ResizeObserver(lay).observe(view);
  lay();
  return board;
};
