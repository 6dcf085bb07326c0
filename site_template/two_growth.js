// What grew between two days, in words, from data/curves.js.
(() => {
  "use strict";
  const NBSP = "\u00a0";
  const made = (name, className, text = "") =>
    Object.assign(document.createElement(name), { className, textContent: text });
  const amount = (value) => lapsekit.number(value, Math.abs(value) < 9.95 ? 1 : 0);

  const on = (series, at) =>
    ({ low: series.low[at] ?? null, value: series.value[at] ?? null, high: series.high[at] ?? null });

  // What is compared: the early and the late day of each series, and how many times as much.
  const compare = (series, days, early, late) => {
    const before = on(series, days.indexOf(early));
    const after = on(series, days.indexOf(late));
    const known = before.value !== null && after.value !== null;
    const factor = known && before.value > 0 ? after.value / before.value : null;
    const sure = known && [before, after].every((day) => day.low !== null && day.high !== null);
    const overlap = sure && before.low <= after.high && after.low <= before.high;
    return { series, before, after, factor, overlap: overlap && !series.mean_of };
  };

  // A mean stands for the plants of its group, unless one of them is looked at. Groups of two
  // cameras may be called the same.
  const chosenOf = (all, season, camera, region) => {
    if (region) {
      const own = all.filter((each) => each.name === region.name);
      return own.length ? own : all.filter((each) =>
        region.group && each.group === region.group && each.camera === region.camera);
    }
    const here = season.regions.filter((each) => each.camera === camera);
    const names = new Set(here.map((each) => each.name));
    const groups = new Set(here.map((each) => each.group).filter(Boolean));
    const seen = all.filter((each) =>
      names.has(each.name) || (each.camera === camera && groups.has(each.group)));
    const folded = new Set(seen.filter((each) => each.mean_of).map((each) => each.group));
    return seen.filter((each) => each.mean_of || !each.group || !folded.has(each.group));
  };

  const valueText = ({ low, value, high }, unit) => {
    const known = `${amount(value)}${NBSP}${unit}`;
    if (low === null || high === null) return known;
    return lapsekit.text("{value} ({low} to {high})", { value: known, low: amount(low), high: amount(high) });
  };

  const sentence = ({ series, before, after, factor, overlap }, early, late) => {
    const days = { early: lapsekit.shortDay(early), late: lapsekit.shortDay(late) };
    if (before.value === null && after.value === null) {
      return lapsekit.text("There is no value for {early}, nor for {late}.", days);
    }
    if (before.value === null || after.value === null) {
      const [day, none, known] = before.value === null
        ? [days.late, days.early, after] : [days.early, days.late, before];
      return lapsekit.text("{value} on {day}; there is no value for {none}.",
        { value: valueText(known, series.unit), day, none });
    }
    const values = {
      ...days, before: valueText(before, series.unit), after: valueText(after, series.unit),
    };
    if (factor === null) {
      return lapsekit.text("Nothing yet on {early}; {after} on {late}.", values);
    }
    if (overlap) {
      return lapsekit.text("{before} on {early}, {after} on {late}. The intervals overlap: perhaps it did not change.", values);
    }
    return lapsekit.text("{before} on {early}, {after} on {late}.", values);
  };

  // Small factors are said finer, so that a small change is not rounded away.
  const digits = (factor) => (factor < 1.995 ? 2 : factor < 9.95 ? 1 : 0);
  const figure = (factor) =>
    (factor === null ? "–" : `×${NBSP}${lapsekit.number(factor, digits(factor))}`);
  const factorText = (factor) =>
    lapsekit.text("{n} times", { n: lapsekit.number(factor, digits(factor)) });

  const row = (found, early, late) => {
    const item = made("li", "");
    const sure = found.factor !== null && !found.overlap;
    const sign = made("span", sure ? "two-factor" : "two-factor unsure", figure(found.factor));
    sign.ariaHidden = "true";
    const told = made("span", "two-told");
    const name = made("strong", "");
    name.append(made("bdi", "", found.series.title));
    told.append(name, " ");
    if (found.factor !== null) {
      told.append(made("span", "hidden", `${factorText(found.factor)}. `));
    }
    told.append(sentence(found, early, late));
    item.append(sign, told);
    return item;
  };

  // Fill `element` for two days; `region` is null for all that `camera` sees.
  const fill = (element, { first, second, camera, region }) => {
    const { curves, season } = lapsekit;
    const [early, late] = [first, second].sort();
    const rows = chosenOf(curves.series, season, camera, region)
      .map((series) => compare(series, curves.days, early, late))
      .sort((a, b) => (b.factor ?? -1) - (a.factor ?? -1));
    if (early === late) {
      element.replaceChildren(made("p", "", lapsekit.text("It is the same day twice.")));
    } else if (!rows.length) {
      element.replaceChildren(made("p", "", lapsekit.text("Nothing is measured here.")));
    } else {
      const list = made("ol", "two-rows");
      list.append(...rows.map((each) => row(each, early, late)));
      let note = lapsekit.text("How many times as much of the bench its leaves cover on the later day, seen from above. In brackets the interval of the day, in which the true value should lie 19 times in 20.");
      if (rows.some(({ series }) => series.mean_of)) {
        note += ` ${lapsekit.text("Of a group, the brackets hold its smallest and its largest plant, which do not say how sure its mean is.")}`;
      }
      element.replaceChildren(list, made("p", "note", note));
    }
  };

  lapsekit.twoGrowth = { fill };
})();
