// The grower's curve by plant age, with the follower's plant as a dot on it.
(() => {
  "use strict";

  const SVG = "http://www.w3.org/2000/svg";
  const [LEFT, RIGHT, TOP, BOTTOM] = [48, 20, 26, 34];

  const drawn = (name, attributes, text) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (text !== undefined) element.textContent = text;
    return element;
  };

  // A round step that parts a range into at most so many.
  const stepOf = (range, most) => {
    const least = range / most;
    const ten = 10 ** Math.floor(Math.log10(least));
    return [1, 2, 5, 10].map((by) => by * ten).find((step) => step >= least * 0.999);
  };

  const pointsOf = (curve) => {
    const smooth = curve.curve && curve.curve.some((value) => value !== null);
    const [value, low, high] = smooth
      ? [curve.curve, curve.curve_low, curve.curve_high]
      : [curve.value, curve.low, curve.high];
    const starts = new Set(smooth ? curve.curve_stretches : curve.stretches);
    return lapsekit.curves.days.map((day, k) => ({
      age: lapsekit.age(day, curve.sown), value: value[k], low: low[k], high: high[k],
      first: starts.has(k),
    }));
  };

  // Stretches that may be joined by a line: a day without a value ends one unless we are told so.
  const stretches = (points, told) => {
    const found = [];
    let open = false;
    for (const point of points) {
      if (point.value === null) {
        open = told && open;
        continue;
      }
      if (!open || (told && point.first)) found.push([]);
      found[found.length - 1].push(point);
      open = true;
    }
    return found;
  };

  const path = (points, x, y, name) =>
    points.map((p, k) => `${k ? "L" : "M"}${x(p.age).toFixed(1)} ${y(p[name]).toFixed(1)}`).join("");

  const axes = ({ width, height, x, y, ages, top }, unit) => {
    const group = drawn("g", { class: "yours-axes" });
    const step = stepOf(top, 5);
    for (let value = 0; value <= top * 1.001; value += step) {
      group.append(drawn("line", { x1: LEFT, x2: width - RIGHT, y1: y(value), y2: y(value) }));
      group.append(drawn("text", { x: LEFT - 8, y: y(value) + 5, "text-anchor": "end" },
        lapsekit.number(value, step < 1 ? 1 : 0)));
    }
    const stride = Math.max(1, stepOf(ages[1] - ages[0] || 1, width / 70));
    for (let age = Math.ceil(ages[0] / stride) * stride; age <= ages[1]; age += stride) {
      group.append(drawn("text", { x: x(age), y: height - 8, "text-anchor": "middle" },
        lapsekit.text("day {age}", { age })));
    }
    group.append(drawn("text", { x: LEFT - 8, y: 14, "text-anchor": "end" }, unit));
    return group;
  };

  const dot = (x, y, { age, area }) => {
    const group = drawn("g", { class: "yours-dot" });
    group.append(drawn("line", { x1: x(age), x2: x(age), y1: y(area.low), y2: y(area.high) }));
    for (const end of [area.low, area.high]) {
      group.append(drawn("line", { x1: x(age) - 8, x2: x(age) + 8, y1: y(end), y2: y(end) }));
    }
    group.append(drawn("circle", { cx: x(age), cy: y(area.value), r: 4.5 }));
    return group;
  };

  // `yours` is null, or its age and its area with low and high. Said in words by `label`.
  lapsekit.drawCurve = (place, curve, yours, label) => {
    const points = pointsOf(curve);
    const known = points.filter((point) => point.value !== null);
    if (!known.length) {
      place.replaceChildren();
      return;
    }
    const all = [...known.map((p) => p.age), ...(yours ? [yours.age] : [])];
    const ages = [Math.min(...all), Math.max(...all)];
    const top = Math.max(...known.map((p) => p.high ?? p.value), yours ? yours.area.high : 0);
    const width = Math.max(280, place.clientWidth);
    const height = Math.round(Math.min(320, 0.3 * width + 120));
    const across = (width - LEFT - RIGHT) / (ages[1] - ages[0] || 1);
    const x = (age) => LEFT + across * (age - ages[0]);
    const y = (value) => height - BOTTOM - ((height - TOP - BOTTOM) * value) / (top * 1.05);
    const svg = drawn("svg", {
      viewBox: `0 0 ${width} ${height}`, role: "img", "aria-label": label,
    });
    svg.append(axes({ width, height, x, y, ages, top }, curve.unit));
    const told = Boolean(curve.curve_stretches || curve.stretches);
    for (const stretch of stretches(points, told)) {
      const banded = stretch.filter((p) => p.low !== null && p.high !== null);
      if (banded.length > 1) {
        const outline = path(banded, x, y, "high")
          + path([...banded].reverse(), x, y, "low").replace("M", "L");
        svg.append(drawn("path", { class: "yours-band", d: `${outline}Z` }));
      }
      if (stretch.length > 1) {
        svg.append(drawn("path", { class: "yours-line", d: path(stretch, x, y, "value") }));
      } else {
        const [{ age, value }] = stretch;
        svg.append(drawn("circle", { class: "yours-alone", cx: x(age), cy: y(value), r: 2.5 }));
      }
    }
    if (yours) svg.append(dot(x, y, yours));
    place.replaceChildren(svg);
  };
})();
