// The day that is pointed at on a chart, and on which plant's curve: by pointer, by keys, and by
// whatever else on the page points at a day.
(() => {
  "use strict";
  const plain = (event) => !event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey;

  // `chosen` is the place of a day in the data, or null.
  const cursorOf = (figure, live, state, chart) => {
    const reading = figure.querySelector(".reading");
    const rest = reading.textContent;
    const rule = document.createElement("i");
    rule.className = "curve-cursor";
    const dot = document.createElement("i");
    dot.className = "curve-dot";
    let chosen = null;

    const nearest = () => state.series.find((each) => each.name === state.near)
      || state.series.find((each) => state.shown.has(each.name)) || state.series[0];
    const ends = (series) => {
      const known = series.value.flatMap((value, i) => (value === null ? [] : [i]));
      return [known[0] ?? 0, known[known.length - 1] ?? 0];
    };

    const say = () => {
      const { valueText, eventsText } = lapsekit.curveSaid;
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

    return { nearest, ends, show, choose, emphasise, open, chosen: () => chosen };
  };

  // By pointer: the plant nearest in height, and the day below it. By focus alone: the last day.
  const byPointer = (live, state, chart, cursor) => {
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
      cursor.emphasise(taken.series.name);
      cursor.choose(taken.i);
    };
    let touching = false;
    live.addEventListener("pointerdown", (event) => {
      touching = event.pointerType !== "mouse";
      point(event);
    });
    live.addEventListener("pointermove", point);
    live.addEventListener("pointerleave", (event) => {
      if (event.pointerType === "mouse" && document.activeElement !== live) cursor.choose(null);
    });
    live.addEventListener("click", () => { if (!touching) cursor.open(); });
    live.addEventListener("focus", () => {
      if (cursor.chosen() === null && !touching) cursor.choose(cursor.ends(cursor.nearest())[1]);
    });
    live.addEventListener("blur", () => cursor.choose(null));
  };

  const byKeys = (live, state, cursor) => {
    const { nearest, ends, choose, emphasise, open } = cursor;
    const step = (by) => {
      const [first, last] = ends(nearest());
      const from = cursor.chosen() ?? last;
      choose(Math.min(last, Math.max(first, cursor.chosen() === null && by < 0 ? last : from + by)));
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
  };

  lapsekit.curveCursor = (figure, live, state, chart) => {
    const cursor = cursorOf(figure, live, state, chart);
    byPointer(live, state, chart, cursor);
    byKeys(live, state, cursor);
    return cursor;
  };
})();
