// Draws curves with uPlot: scales, lines, and around them bands, dots, diary marks and names.
// Everything that is drawn comes from data/curves.js; curves.js says what is wanted.
(() => {
  "use strict";

  const MANY = 16;
  const DAY_MS = 864e5;
  const FONT_PX = 15;
  const LEVEL_GAP = 6;
  // Up to so many times the highest value a band has its room; as the pictures beneath have it.
  const BAND_ROOM = 2;

  const age0 = (series, data) =>
    data.days.length ? (Date.parse(data.days[0]) - Date.parse(series.sown)) / DAY_MS : 0;

  // Where a day (its place in data.days) stands on the axis, and back.
  const shift = (view, series) => (view.byAge ? age0(series, view.data) : 0);

  const line = (series) => {
    const smooth = series.curve.some((value) => value !== null);
    return smooth
      ? { value: series.curve, low: series.curve_low, high: series.curve_high, from: series.curve_stretches, smooth }
      : { value: series.value, low: series.low, high: series.high, from: series.stretches, smooth };
  };

  // Stretches of days that may be joined: lists of places in data.days.
  const stretches = (drawn, shown) => {
    const found = drawn.from.map((start, n) => {
      const end = n + 1 < drawn.from.length ? drawn.from[n + 1] : drawn.value.length;
      const places = [];
      for (let i = start; i < end; i += 1) if (shown(drawn.value[i])) places.push(i);
      return places;
    });
    return found.filter((places) => places.length);
  };

  // uPlot wants one row of x for all: null opens a line, undefined leaves it as it is.
  const aligned = (view) => {
    const visible = (value) => value !== null && (value > 0 || !view.doubling);
    const drawn = view.series.map((series) => {
      const put = new Map();
      const by = shift(view, series);
      const runs = stretches(line(series), visible);
      runs.forEach((places, n) => {
        for (const i of places) put.set(i + by, line(series).value[i]);
        const next = runs[n + 1];
        const last = places[places.length - 1];
        if (next) put.set((next[0] - last > 1 ? last + 1 : last + 0.5) + by, null);
      });
      return put;
    });
    const xs = [...new Set(drawn.flatMap((put) => [...put.keys()]))].sort((a, b) => a - b);
    return [xs, ...drawn.map((put) => xs.map((x) => put.get(x)))];
  };

  const evenLevels = (highest) => {
    if (highest <= 0) return [0, 1];
    const raw = highest / 5;
    const power = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.9999);
    const count = Math.ceil(highest / step - 1e-9);
    return Array.from({ length: count + 1 }, (_, n) => n * step);
  };
  const doublingLevels = (lowest, highest) => {
    const first = Math.floor(Math.log2(lowest) + 1e-9);
    const last = Math.max(first + 1, Math.ceil(Math.log2(highest) - 1e-9));
    return Array.from({ length: last - first + 1 }, (_, n) => 2 ** (first + n));
  };
  const levels = (view) => {
    const shown = view.series.filter((series) => view.shown.has(series.name));
    const known = shown.flatMap((s) => s.value.filter((v) => v !== null && (v > 0 || !view.doubling)));
    const tops = shown.flatMap((s) => s.high.filter((v) => v !== null));
    const measured = Math.max(0, ...known, ...(known.length ? tops : []));
    const bands = shown.flatMap((s) => s.curve_high.filter((v) => v !== null && v <= BAND_ROOM * measured));
    const highest = Math.max(measured, ...bands);
    if (!known.length) return view.doubling ? [1, 2] : [0, 1];
    return view.doubling ? doublingLevels(Math.min(...known), highest) : evenLevels(highest);
  };

  const span = (view) => {
    const places = view.series.flatMap((series) => {
      const known = series.value.flatMap((value, i) => (value === null ? [] : [i + shift(view, series)]));
      return known.length ? [known[0], known[known.length - 1]] : [];
    });
    const low = Math.min(...places);
    const high = Math.max(...places);
    return places.length ? [low, Math.max(high, low + 1)] : [0, 1];
  };

  const ticks = (view, low, high, most) => {
    const sown = view.byAge ? 0 : age0({ sown: view.sown }, view.data);
    for (const step of [1, 2, 5, 7, 14, 28, 56, 91, 182, 365]) {
      const found = [];
      for (let age = Math.ceil((low + sown) / step) * step; age <= high + sown; age += step) {
        found.push(age - sown);
      }
      if (found.length <= most || step === 365) return found.length ? found : [low];
    }
    return [low];
  };
  const tickText = (view, x, first) => {
    const age = Math.round(view.byAge ? x : x + age0({ sown: view.sown }, view.data));
    const said = first ? lapsekit.text("day {age}", { age }) : `${age}`;
    if (view.byAge) return said;
    const day = view.data.days[Math.round(x)];
    return day ? `${lapsekit.shortDay(day)}\n${said}` : said;
  };

  const spread = (places, gap, top, bottom) => {
    const order = places.map((_, i) => i).sort((a, b) => places[a] - places[b]);
    const moved = [];
    for (const i of order) moved.push(Math.max(places[i], moved.length ? moved[moved.length - 1] + gap : top));
    let limit = bottom;
    for (let k = moved.length - 1; k >= 0; k -= 1) {
      moved[k] = Math.min(moved[k], limit);
      limit = moved[k] - gap;
    }
    const result = [];
    order.forEach((i, k) => { result[i] = moved[k]; });
    return result;
  };

  // Inks are the style's own; the probe tells them as the browser has them now.
  const inks = (box) => {
    const probe = document.createElement("i");
    probe.hidden = true;
    box.append(probe);
    return (name) => {
      probe.style.color = `var(--${name})`;
      return getComputedStyle(probe).color;
    };
  };

  const clipped = (u, paint) => {
    const { ctx, bbox } = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    paint(ctx);
    ctx.restore();
  };

  const paintBand = (u, view, series, ink) => {
    const drawn = line(series);
    const by = shift(view, series);
    const floor = u.scales.y.min;
    const x = (i) => u.valToPos(i + by, "x", true);
    const y = (value) => u.valToPos(Math.max(value, floor), "y", true);
    const known = (i) => drawn.low[i] !== null && drawn.high[i] !== null;
    clipped(u, (ctx) => {
      ctx.globalAlpha = 0.22;
      ctx.fillStyle = ink;
      for (const run of stretches(drawn, (value) => value !== null)) {
        const places = run.filter(known);
        if (!places.length) continue;
        const wide = places.length > 1 ? 0 : 1.5 * devicePixelRatio;
        ctx.beginPath();
        for (const i of places) ctx.lineTo(x(i) - wide, y(drawn.high[i]));
        if (wide) ctx.lineTo(x(places[0]) + wide, y(drawn.high[places[0]]));
        if (wide) ctx.lineTo(x(places[0]) + wide, y(drawn.low[places[0]]));
        for (const i of places.slice().reverse()) ctx.lineTo(x(i) - wide, y(drawn.low[i]));
        ctx.fill();
      }
    });
  };

  const paintDots = (u, view, series, ink, onlyLone) => {
    const drawn = line(series);
    const by = shift(view, series);
    const visible = (value) => value !== null && (value > 0 || !view.doubling);
    const lone = stretches(drawn, visible).filter((run) => run.length === 1).map((run) => run[0]);
    const every = series.value.map((_, i) => i).filter((i) => visible(series.value[i]));
    const values = onlyLone ? drawn.value : series.value;
    const radius = (every.length > 120 ? 1.2 : 1.7) * devicePixelRatio;
    clipped(u, (ctx) => {
      ctx.fillStyle = ink;
      for (const i of onlyLone ? lone : every) {
        ctx.beginPath();
        ctx.arc(u.valToPos(i + by, "x", true), u.valToPos(values[i], "y", true), radius, 0, 7);
        ctx.fill();
      }
    });
  };

  // Diary marks of the bench, and of the one plant that is looked at.
  const marks = (view) => {
    const near = view.series.find((series) => series.name === view.near);
    const by = shift(view, near || view.series[0]);
    if (view.byAge && !near) return [];
    return view.data.events
      .filter((event) => event.region === null || (near && event.region === near.name))
      .map((event) => view.data.days.indexOf(event.day) + by)
      .filter((x, n, all) => x - by >= 0 && all.indexOf(x) === n);
  };
  const paintMarks = (u, view, ink) => {
    const { ctx, bbox } = u;
    const d = 4 * devicePixelRatio;
    ctx.save();
    ctx.fillStyle = ink;
    ctx.strokeStyle = ink;
    ctx.lineWidth = 0.8 * devicePixelRatio;
    ctx.setLineDash([2 * devicePixelRatio, 3 * devicePixelRatio]);
    for (const at of marks(view)) {
      if (at < u.scales.x.min || at > u.scales.x.max) continue;
      const x = u.valToPos(at, "x", true);
      const y = bbox.top - 2 * d;
      ctx.beginPath();
      ctx.moveTo(x, y - d);
      ctx.lineTo(x + d, y);
      ctx.lineTo(x, y + d);
      ctx.lineTo(x - d, y);
      ctx.fill();
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  };

  const cut = (ctx, text, width) => {
    if (ctx.measureText(text).width <= width) return text;
    const letters = [...text.slice(0, 80)];
    while (letters.length && ctx.measureText(`${letters.join("")}…`).width > width) letters.pop();
    return `${letters.join("")}…`;
  };
  const paintNames = (u, view, ink, font) => {
    const { ctx, bbox } = u;
    const scale = devicePixelRatio;
    const ends = view.series.flatMap((series) => {
      const drawn = line(series);
      const visible = (value) => value !== null && (value > 0 || !view.doubling);
      const runs = view.shown.has(series.name) ? stretches(drawn, visible) : [];
      if (!runs.length) return [];
      const last = runs[runs.length - 1].slice(-1)[0];
      const x = u.valToPos(last + shift(view, series), "x", true);
      return [{ series, x, y: u.valToPos(drawn.value[last], "y", true) }];
    });
    const places = spread(ends.map((end) => end.y), 15.5 * scale, bbox.top, bbox.top + bbox.height);
    const edge = bbox.left + bbox.width;
    ctx.save();
    ctx.font = font(scale);
    ctx.setLineDash([]);
    ctx.textAlign = "left";
    ctx.textBaseline = "middle";
    ends.forEach(({ series, x, y }, n) => {
      ctx.globalAlpha = view.near && view.near !== series.name ? 0.55 : 1;
      ctx.strokeStyle = ink("firm");
      ctx.lineWidth = 0.8 * scale;
      ctx.beginPath();
      ctx.moveTo(x + 3 * scale, y);
      ctx.lineTo(edge + 12 * scale, places[n]);
      ctx.stroke();
      ctx.fillStyle = ink("ink");
      const room = u.width * scale - edge - 18 * scale;
      ctx.fillText(cut(ctx, series.title, room), edge + 16 * scale, places[n]);
    });
    ctx.restore();
  };

  // Makes a chart in `box`. `view` is {data, series, sown, looks, single, shown, near, doubling,
  // byAge}; change it and call `again` (other scales) or `paint` (other emphasis).
  lapsekit.drawCurves = (box, view) => {
    const ink = inks(box);
    const family = getComputedStyle(box).fontFamily;
    const font = (scale) => `${FONT_PX * scale}px ${family}`;
    const inkOf = (series) => ink(view.single ? "accent" : `ink-${view.looks.get(series.name).ink}`);
    const size = () => ({ width: box.clientWidth, height: box.clientHeight });
    const decimals = (y) => [0, 1, 2, 3].find((n) => Math.abs(Number(y.toFixed(n)) - y) <= 1e-6 * y) ?? 4;
    const levelText = (y) => lapsekit.number(y, decimals(y));
    const letters = document.createElement("canvas").getContext("2d");
    const roomForLevels = () => {
      letters.font = font(1);
      return Math.ceil(Math.max(...levels(view).map((y) => letters.measureText(levelText(y)).width))) + LEVEL_GAP + 2;
    };
    const margins = () => {
      const [left, right] = view.single
        ? [40, 26]  // half of the last day stands right of the curve
        : box.clientWidth >= 640 ? [56, Math.min(220, box.clientWidth / 5)] : [44, 104];
      return [Math.max(left, roomForLevels()), right];
    };
    const most = () => Math.max(2, Math.floor((box.clientWidth - margins()[0] - margins()[1]) / 55));

    const style = (u) => {
      const crowd = view.shown.size >= MANY;
      view.series.forEach((series, n) => {
        const near = view.near === series.name;
        const drawn = u.series[n + 1];
        drawn.width = near && !view.single ? 3 : crowd ? 1 : 1.8;
        drawn.alpha = view.near && !near ? 0.5 : 1;
        drawn.show = view.shown.has(series.name);
      });
    };

    const make = () => {
      const [left, right] = margins();
      const axis = { stroke: () => ink("faint"), font: font(1), filter: (u, splits) => splits };
      const u = new uPlot({
        ...size(),
        padding: [30, right, 0, 0],
        legend: { show: false },
        cursor: { show: false },
        scales: {
          x: { time: false, range: () => span(view) },
          y: {
            ...(view.doubling ? { distr: 3, log: 2 } : {}),
            range: () => [levels(view)[0], levels(view).slice(-1)[0]],
          },
        },
        axes: [
          {
            ...axis,
            size: 48,
            gap: 4,
            grid: { show: false },
            ticks: { stroke: () => ink("firm"), width: 1, size: 5 },
            splits: (_, n, low, high) => ticks(view, low, high, most()),
            values: (_, splits) => splits.map((x, n) => tickText(view, x, n === 0)),
          },
          {
            ...axis,
            size: left,
            gap: LEVEL_GAP,
            grid: { stroke: () => ink("rule"), width: 1 },
            ticks: { show: false },
            splits: () => levels(view),
            values: (_, splits) => splits.map(levelText),
          },
        ],
        series: [
          {},
          ...view.series.map((series) => ({
            stroke: () => inkOf(series),
            width: 1.8,
            dash: view.single ? undefined : view.looks.get(series.name).dash,
            points: { show: false },
            pxAlign: 0,
          })),
        ],
        hooks: {
          drawAxes: [(drawn) => {
            const near = view.series.find((series) => series.name === view.near);
            if (near && view.shown.has(near.name)) paintBand(drawn, view, near, inkOf(near));
            paintMarks(drawn, view, ink("accent"));
          }],
          draw: [(drawn) => {
            for (const series of view.series.filter((each) => view.shown.has(each.name))) {
              const whole = series.name === view.near && line(series).smooth;
              paintDots(drawn, view, series, inkOf(series), !whole);
            }
            if (!view.single) paintNames(drawn, view, ink, font);
            paintUnit(drawn, ink("faint"), font);
          }],
        },
      }, aligned(view), box);
      u.root.setAttribute("aria-hidden", "true");
      style(u);
      u.redraw();
      return u;
    };
    const paintUnit = (u, colour, fontOf) => {
      const { ctx, bbox } = u;
      ctx.save();
      ctx.font = fontOf(devicePixelRatio);
      ctx.fillStyle = colour;
      ctx.textAlign = "right";
      ctx.fillText(view.series[0].unit, bbox.left - LEVEL_GAP * devicePixelRatio, bbox.top - 12 * devicePixelRatio);
      ctx.restore();
    };

    let chart = make();
    const self = {
      over: () => chart.over,
      // Where a series stands on a day, in px from the plot's corner; y is null without a value.
      place: (series, i) => {
        const drawn = line(series);
        const value = drawn.value[i] === null ? series.value[i] : drawn.value[i];
        const seen = value !== null && value !== undefined && (value > 0 || !view.doubling);
        const x = chart.valToPos(i + shift(view, series), "x");
        return { x, y: seen ? chart.valToPos(value, "y") : null };
      },
      // The day of a series (its place in data.days) at so many px.
      dayAt: (series, px) => Math.round(chart.posToVal(px, "x") - shift(view, series)),
      again: () => {
        chart.destroy();
        chart = make();
      },
      paint: () => {
        style(chart);
        chart.redraw(false, false);
      },
    };
    return self;
  };
})();
