"use strict";
// Live pictures while a hand mounts the camera; asking stops when the page is left.
(() => {
  const aim = document.getElementById("aim");
  if (!aim) return;
  const at = `/setup/aim/${aim.dataset.camera}/`;
  const find = (id) => document.getElementById(id);
  const [live, said, gauge] = ["live", "live-said", "gauge"].map(find);
  const edges = find("edges");
  let best = 0;
  let number = 0;
  let full = null;
  let isPaused = false;

  function show(told) {
    number = told.number;
    full = { width: told.width, height: told.height };
    live.width = told.width;
    live.height = told.height;
    live.src = `${at}picture?n=${number}${edges && edges.checked ? "&edges=1" : ""}`;
    live.hidden = false;
    best = Math.max(best, told.sharpness);
    const share = best ? told.sharpness / best : 0;
    gauge.firstElementChild.style.width = `${100 * share}%`;
    gauge.classList.toggle("is-best", share >= 0.97);
    gauge.setAttribute("aria-valuenow", Math.round(100 * share));
    find("sharp").textContent = told.sharpness.toFixed(2);
    find("sharp-said").textContent =
      share >= 0.97 ? "the best so far" : `${Math.round(100 * share)} % of the best (${best.toFixed(2)}); turn back`;
    find("light").textContent = told.light;
    if (told.view.length) find("view").textContent = told.view.join("\n");
  }

  async function look() {
    if (!isPaused && !document.hidden) {
      try {
        const told = await desk.read(`${at}look`);
        if (told.number && told.number !== number) show(told);
        // Where pictures come slowly that is no failure: the last one stands.
        const waits = told.number && /^no new picture/i.test(told.said);
        said.textContent = waits ? `The last picture is of ${told.at}; the next one has not come yet. Nothing is filed.` : told.said || (told.number ? `Live; the last picture is of ${told.at}. Nothing is filed.` : "Looking through the camera …");
      } catch (error) {
        said.textContent = error.message;
      }
    }
    setTimeout(look, 1000);
  }
  look();

  find("again").addEventListener("click", () => (best = 0));
  find("grid").addEventListener("change", (event) => (aim.querySelector(".live svg").style.display = event.target.checked ? "" : "none"));
  if (edges) edges.addEventListener("change", () => (number = 0));
  addEventListener("pagehide", () => {
    const body = new URLSearchParams({ form_token: desk.token });
    navigator.sendBeacon(`${at}stop`, body);
  });
  find("keep").addEventListener("submit", () => {
    isPaused = true;
    desk.say("The camera takes the picture …");
  });

  // ---- areas that nobody shall see

  const place = find("privacy");
  const form = find("privacy-form");
  const areas = JSON.parse(place.dataset.areas);
  find("draw-privacy").addEventListener("click", (event) => {
    if (!full) {
      desk.say("Wait until the camera has shown a picture.", "refusal");
      return;
    }
    isPaused = true;
    event.target.hidden = true;
    place.hidden = form.hidden = false;
    begin();
  });

  function begin() {
    const root = document.createElement("div");
    root.className = "board";
    root.dataset.width = full.width;
    root.dataset.height = full.height;
    const view = Object.assign(document.createElement("div"), { className: "board-view", tabIndex: 0 });
    view.setAttribute("role", "application");
    view.setAttribute("aria-roledescription", "picture to point at");
    view.setAttribute("aria-label", "Picture to draw privacy areas in");
    view.setAttribute("aria-describedby", "how-to-draw");
    const sheet = Object.assign(document.createElement("div"), { className: "board-sheet" });
    const picture = Object.assign(document.createElement("img"), { src: `${at}picture?n=${number}`, width: full.width, height: full.height, alt: "What the camera sees", draggable: false });
    const layer = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    layer.setAttribute("class", "board-layer");
    layer.setAttribute("viewBox", `0 0 ${full.width} ${full.height}`);
    const cross = Object.assign(document.createElement("div"), { className: "board-cross", hidden: true });
    sheet.append(picture, layer);
    view.append(sheet, cross);
    const tools = Object.assign(document.createElement("div"), { className: "board-tools" });
    const button = (kind, text, label) => {
      const made = Object.assign(document.createElement("button"), { type: "button", className: kind, textContent: text });
      made.setAttribute("aria-label", label);
      tools.append(made);
    };
    button("board-closer", "+", "Closer");
    button("board-farther", "−", "Farther");
    button("board-whole", "Whole picture", "Whole picture");
    tools.append(Object.assign(document.createElement("output"), { className: "board-place" }));
    root.append(view, tools);
    place.replaceChildren(root);

    const draw = desk.outlines(desk.board(root));
    const others = () => areas.map((points, k) => ({ points, label: `Area ${k + 1}` }));
    const keep = () => {
      if (draw.points.length && draw.trouble) {
        desk.say(draw.trouble, "refusal");
        return false;
      }
      if (draw.points.length) areas.push(draw.points.map((p) => [...p]));
      draw.set([], `Area ${areas.length + 1}`);
      draw.others = others();
      return true;
    };
    draw.others = others();
    draw.set([], `Area ${areas.length + 1}`);
    find("more-area").onclick = keep;
    find("no-area").onclick = () => {
      areas.length = 0;
      draw.others = [];
      draw.set([], "Area 1");
    };
    form.onsubmit = (event) => {
      if (!keep()) event.preventDefault();
      form.elements.areas.value = JSON.stringify(areas);
    };
    find("cancel-areas").onclick = () => {
      areas.splice(0, areas.length, ...JSON.parse(place.dataset.areas));
      form.isChanged = () => false;
      place.replaceChildren();
      place.hidden = form.hidden = true;
      find("draw-privacy").hidden = isPaused = false;
      find("draw-privacy").focus();
    };
    const before = JSON.stringify(areas);
    form.isChanged = () => draw.points.length > 0 || JSON.stringify(areas) !== before;
    root.scrollIntoView({ block: "nearest" });
  }
})();
