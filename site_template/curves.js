// Makes the drawn curves answer: which plants, which scale, which day. The pictures beneath (SVG)
// stay for print and for whoever runs no scripts. uPlot and the data come when a chart comes near.
(() => {
  "use strict";

  const needed = async () => {
    const style = document.createElement("link");
    style.rel = "stylesheet";
    style.href = lapsekit.asset("vendor/uplot/uPlot.min.css");
    document.head.append(style);
    await Promise.all([
      lapsekit.load(lapsekit.asset("vendor/uplot/uPlot.iife.min.js")),
      lapsekit.load(lapsekit.asset("curves_draw.js")),
      lapsekit.load(lapsekit.asset("curves_said.js")),
      lapsekit.load(lapsekit.asset("curves_cursor.js")),
      lapsekit.data("curves.js"),
      new Promise((done) => { style.onload = style.onerror = done; }),
      document.fonts.ready,
    ]);
  };
  let coming = null;
  const all = () => (coming ||= needed());

  // What a chart shows; null where the data have none of its plants.
  const view = (figure) => {
    const data = lapsekit.curves;
    const names = JSON.parse(figure.dataset.curves);
    const series = names.map((name) => data.series.find((each) => each.name === name)).filter(Boolean);
    if (!series.length) return null;
    const keys = [...figure.querySelectorAll("[data-plant]")];
    const looks = new Map(keys.map((key) => [key.dataset.plant, {
      ink: key.dataset.ink,
      dash: key.dataset.dash ? key.dataset.dash.split(" ").map(Number) : undefined,
    }]));
    const single = figure.classList.contains("one");
    for (const { name } of series) if (!looks.has(name)) looks.set(name, { ink: 1 });
    return {
      data,
      series,
      looks,
      single,
      sown: single ? series[0].sown : data.sown,
      shown: new Set(series.map((each) => each.name)),
      near: single ? series[0].name : null,
      doubling: false,
      byAge: false,
    };
  };

  // What takes the keys lies on the picture from the start, so that no stop comes in later.
  const lay = (figure) => {
    const live = document.createElement("div");
    live.className = "curve-live";
    live.tabIndex = 0;
    live.setAttribute("role", "slider");
    live.setAttribute("aria-orientation", "horizontal");
    live.setAttribute("aria-label", lapsekit.text("A day on the curve"));
    live.setAttribute("aria-valuenow", 0);
    live.setAttribute("aria-valuetext", figure.querySelector(".reading").textContent);
    figure.querySelector(".curve-box").append(live);
    return live;
  };

  // The buttons beside a chart: each plant, the scale, the axis.
  const byButtons = (figure, state, chart, { show, emphasise }) => {
    for (const button of figure.querySelectorAll("[data-plant]")) {
      const name = button.dataset.plant;
      button.addEventListener("click", () => {
        const pressed = !state.shown.delete(name);
        if (pressed) state.shown.add(name);
        button.setAttribute("aria-pressed", pressed);
        if (!pressed && state.near === name) state.near = null;
        chart.again();
        show();
      });
      const look = () => { if (state.shown.has(name)) emphasise(name); };
      button.addEventListener("pointerenter", look);
      button.addEventListener("focus", look);
      button.addEventListener("pointerleave", () => emphasise(null));
      button.addEventListener("blur", () => emphasise(null));
    }
    const press = (attribute, act) => {
      const buttons = [...figure.querySelectorAll(`[data-${attribute}]`)];
      for (const button of buttons) {
        button.addEventListener("click", () => {
          for (const each of buttons) each.setAttribute("aria-pressed", each === button);
          act(button.dataset[attribute]);
          chart.again();
          show();
        });
      }
    };
    press("scale", (scale) => { state.doubling = scale === "doubling"; });
    press("axis", (axis) => { state.byAge = axis === "age"; });
  };

  const repaint = (live, chart, show) => {
    let size = `${live.clientWidth} ${live.clientHeight}`;
    new ResizeObserver(() => {
      const now = `${live.clientWidth} ${live.clientHeight}`;
      if (!live.clientWidth || now === size) return;
      size = now;
      chart.again();
      show();
    }).observe(live);
    for (const query of ["(prefers-color-scheme: dark)", "(forced-colors: active)"]) {
      matchMedia(query).addEventListener("change", () => chart.paint());
    }
  };

  // One chart with its cursor.
  const start = (figure, live) => {
    const state = view(figure);
    if (!state) {
      live.remove();
      return;
    }
    figure.classList.add("is-live");
    const chart = lapsekit.drawCurves(live, state);
    const cursor = lapsekit.curveCursor(figure, live, state, chart);
    byButtons(figure, state, chart, cursor);
    repaint(live, chart, cursor.show);
    cursor.show();
    if (document.activeElement === live) cursor.choose(cursor.ends(cursor.nearest())[1]);
    figure.dataset.ready = "";
  };

  const begin = new Map();
  const near = new IntersectionObserver((entries) => {
    for (const { isIntersecting, target } of entries) if (isIntersecting) begin.get(target)();
  }, { rootMargin: "300px" });
  for (const figure of document.querySelectorAll("figure[data-curves]")) {
    const live = lay(figure);
    let begun = false;
    begin.set(figure, () => {
      near.unobserve(figure);
      if (begun) return;
      begun = true;
      // Without its data, or where they cannot be drawn, a chart stays the picture that it is.
      all().then(() => start(figure, live)).catch(() => {
        live.remove();
        figure.classList.remove("is-live");
      });
    });
    live.addEventListener("focus", begin.get(figure), { once: true });
    lapsekit.idle(() => near.observe(figure));
  }

  // Days that are listed point at themselves on the curves.
  for (const link of document.querySelectorAll("a[data-points]")) {
    const { points } = link.dataset;
    for (const kind of ["pointerenter", "focus"]) {
      link.addEventListener(kind, () => lapsekit.choose(points, link));
    }
    for (const kind of ["pointerleave", "blur"]) {
      link.addEventListener(kind, () => lapsekit.choose(null, link));
    }
  }
})();
