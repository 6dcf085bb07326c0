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
      lapsekit.data("curves.js"),
      new Promise((done) => { style.onload = style.onerror = done; }),
      document.fonts.ready,
    ]);
  };
  let coming = null;
  const all = () => (coming ||= needed());

  const amount = (value) => lapsekit.number(value, Math.abs(value) < 9.95 ? 1 : 0);
  const plain = (event) => !event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey;

  const valueText = (series, i) => {
    const value = series.value[i];
    const said = {
      plant: series.title,
      day: lapsekit.shortDay(lapsekit.curves.days[i]),
      value: value === null ? "" : `${amount(value)}\u00a0${series.unit}`,
    };
    if (value === null) {
      const why = series.why[i];
      return why
        ? lapsekit.text("{plant} on {day}: no value ({why})", { ...said, why })
        : lapsekit.text("{plant} on {day}: no value", said);
    }
    if (series.low[i] === null) return lapsekit.text("{plant} on {day}: {value}", said);
    const range = { low: amount(series.low[i]), high: amount(series.high[i]) };
    const found = { ...said, ...range };
    if (series.mean_of) return lapsekit.text("{plant} on {day}: {value} (plants {low} to {high})", found);
    if (series.outlying.includes(i)) {
      return lapsekit.text("{plant} on {day}: {value} ({low} to {high}), passed over by the curve", found);
    }
    return lapsekit.text("{plant} on {day}: {value} ({low} to {high})", found);
  };
  const eventsText = (series, i) => {
    const day = lapsekit.curves.days[i];
    const told = lapsekit.curves.events
      .filter((event) => event.day === day && (event.region === null || event.region === series.name))
      .map((event) => event.text);
    return told.length ? lapsekit.text("Diary: {events}", { events: told.join("; ") }) : "";
  };

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

  // One chart with its cursor. `chosen` is the place of a day in the data, or null.
  const start = (figure, live) => {
    const state = view(figure);
    if (!state) {
      live.remove();
      return;
    }
    const reading = figure.querySelector(".reading");
    const rest = reading.textContent;
    const rule = document.createElement("i");
    rule.className = "curve-cursor";
    const dot = document.createElement("i");
    dot.className = "curve-dot";
    figure.classList.add("is-live");
    const chart = lapsekit.drawCurves(live, state);
    let chosen = null;

    const nearest = () => state.series.find((each) => each.name === state.near)
      || state.series.find((each) => state.shown.has(each.name)) || state.series[0];
    const ends = (series) => {
      const known = series.value.flatMap((value, i) => (value === null ? [] : [i]));
      return [known[0] ?? 0, known[known.length - 1] ?? 0];
    };

    const say = () => {
      const series = nearest();
      const [first, last] = ends(series);
      live.setAttribute("aria-valuemin", first);
      live.setAttribute("aria-valuemax", last);
      live.setAttribute("aria-valuenow", chosen ?? last);
      const spoken = [valueText(series, chosen ?? last), chosen === null ? "" : eventsText(series, chosen)];
      live.setAttribute("aria-valuetext", spoken.filter(Boolean).join(". "));
      reading.textContent = chosen === null ? rest : "";
      if (chosen === null) return;
      for (const part of spoken.filter(Boolean)) {
        const said = document.createElement("bdi");
        said.textContent = part;
        reading.append(said, " ");
      }
      const day = state.data.days[chosen];
      if (!state.data.pages[chosen]) return;
      const link = document.createElement("a");
      link.href = lapsekit.dayPage(day);
      link.textContent = lapsekit.text("Open {day}", { day: lapsekit.shortDay(day) });
      reading.append(link);
    };
    const show = () => {
      const over = chart.over();
      if (rule.parentElement !== over) over.append(rule, dot);
      const series = nearest();
      const place = chosen === null ? null : chart.place(series, chosen);
      const within = place !== null && place.x >= -1 && place.x <= over.clientWidth + 1;
      rule.hidden = !within;
      dot.hidden = !within || place.y === null;
      if (within) rule.style.transform = `translateX(${place.x}px)`;
      if (!dot.hidden) dot.style.transform = `translate(${place.x}px, ${place.y}px)`;
      say();
    };
    const emphasise = (name) => {
      if (state.single || state.near === name) return;
      state.near = name;
      chart.paint();
      show();
    };
    const choose = (i) => {
      chosen = i;
      show();
      lapsekit.choose(i === null ? null : state.data.days[i], figure);
    };
    const open = () => {
      if (chosen !== null && state.data.pages[chosen]) {
        window.location.assign(lapsekit.dayPage(state.data.days[chosen]));
      }
    };

    lapsekit.onChoose((day, from) => {
      if (from === figure) return;
      const at = day === null ? -1 : state.data.days.indexOf(day);
      chosen = at < 0 ? null : at;
      show();
    });

    // Pointer: the plant nearest in height, and the day below it.
    const point = (event) => {
      const area = chart.over().getBoundingClientRect();
      const [x, y] = [event.clientX - area.left, event.clientY - area.top];
      const last = state.data.days.length - 1;
      const found = state.series.filter((each) => state.shown.has(each.name)).map((series) => {
        const i = Math.min(last, Math.max(0, chart.dayAt(series, x)));
        const place = chart.place(series, i);
        return { series, i, away: place.y === null ? Infinity : Math.abs(place.y - y) };
      });
      if (!found.length) return;
      const best = found.reduce((a, b) => (b.away < a.away ? b : a));
      const same = found.find((each) => each.series.name === state.near) || found[0];
      const taken = best.away === Infinity ? same : best;
      emphasise(taken.series.name);
      choose(taken.i);
    };
    let touching = false;
    live.addEventListener("pointerdown", (event) => {
      touching = event.pointerType !== "mouse";
      point(event);
    });
    live.addEventListener("pointermove", point);
    live.addEventListener("pointerleave", (event) => {
      if (event.pointerType === "mouse" && document.activeElement !== live) choose(null);
    });
    live.addEventListener("click", () => { if (!touching) open(); });

    const step = (by) => {
      const [first, last] = ends(nearest());
      const from = chosen ?? last;
      choose(Math.min(last, Math.max(first, chosen === null && by < 0 ? last : from + by)));
    };
    const turn = (by) => {
      const names = state.series.map((each) => each.name).filter((name) => state.shown.has(name));
      if (!names.length || state.single) return;
      const at = state.near === null ? (by > 0 ? -1 : 0) : names.indexOf(state.near);
      emphasise(names[(at + by + names.length) % names.length]);
    };
    const keys = {
      ArrowLeft: () => step(-1),
      ArrowRight: () => step(1),
      PageUp: () => step(-7),
      PageDown: () => step(7),
      Home: () => choose(ends(nearest())[0]),
      End: () => choose(ends(nearest())[1]),
      ArrowUp: () => turn(-1),
      ArrowDown: () => turn(1),
      Enter: open,
      Escape: () => choose(null),
    };
    live.addEventListener("keydown", (event) => {
      if (!keys[event.key] || !plain(event)) return;
      event.preventDefault();
      event.stopPropagation();
      keys[event.key]();
    });
    live.addEventListener("focus", () => {
      if (chosen === null && !touching) choose(ends(nearest())[1]);
    });
    live.addEventListener("blur", () => choose(null));

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
    press("scale", (scale) => {
      state.doubling = scale === "doubling";
      figure.classList.toggle("in-doublings", state.doubling);
    });
    press("axis", (axis) => { state.byAge = axis === "age"; });

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
    show();
    if (document.activeElement === live) choose(ends(nearest())[1]);
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
