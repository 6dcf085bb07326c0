// What a curve says of a day: the value with its interval, or why there is none; and the diary.
(() => {
  "use strict";
  const amount = (value) => lapsekit.number(value, Math.abs(value) < 9.95 ? 1 : 0);

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

  lapsekit.curveSaid = { valueText, eventsText };
})();
