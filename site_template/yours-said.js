// What the page says of both plants, in whole sentences.
(() => {
  "use strict";

  const { text, number } = lapsekit;

  // A name within a sentence, which its own reading direction must not turn.
  const apart = (name) => `\u2068${name}\u2069`;

  const digits = (value) => (value < 9.95 ? 1 : 0);
  const area = ({ value, low, high }) => {
    const d = digits(value);
    const usual = `${number(value, d)}\u00a0cm²`;
    if (low === null || high === null) return usual;
    return text("{value} ({low} to {high})", {
      value: usual, low: number(low, d), high: number(high, d),
    });
  };

  const ages = (ours, days) => {
    if (days === null) return "";
    if (days < 0) {
      return text("The photo would be older than the sowing: look at both dates again.");
    }
    const yours = lapsekit.counted("Yours is {n} day old.", "Yours is {n} days old.", days);
    if (!ours || !ours.day) return `${yours} ${text("There is no picture of ours.")}`;
    const day = lapsekit.longDay(ours.day);
    if (ours.age === days) return `${yours} ${text("Ours was as old on {day}.", { day })}`;
    return `${yours} ${lapsekit.counted(
      "Our picture nearest to that age is of {day}, when ours was {n} day old.",
      "Our picture nearest to that age is of {day}, when ours was {n} days old.",
      ours.age, { day },
    )}`;
  };

  // `found` is the follower's area, null while it is not known.
  const verdict = (ours, days, found) => {
    if (!found) {
      return text("Mark a length in your photo and fill it in: then yours is measured, and shown at the scale of ours.");
    }
    const told = { area: area(found), age: days };
    if (days === null || days < 0) {
      return text("Yours: {area}. Fill in both dates to hold it against ours.", told);
    }
    if (!ours || !ours.value) {
      return text("Yours: {area} on day {age}; ours has no number at that age.", told);
    }
    if (ours.unit !== "cm²") {
      return text("Yours: {area} on day {age}; ours is measured without a scale, so there are no cm² to hold it against.", told);
    }
    told.ours = area(ours.value);
    return ours.isGroup
      ? text("Yours: {area} on day {age}; ours covered {ours} at that age, the mean of the group with its smallest and largest plant.", told)
      : text("Yours: {area} on day {age}; ours covered {ours} at that age.", told);
  };

  // `per` is cm in a pixel: usual, least and most.
  const scale = (per) => {
    if (!per) return "";
    if (per.tooNear) {
      return text("The two ends are too near to each other to measure by: choose something longer.");
    }
    const off = (100 * (per.most - per.least)) / (2 * per.usual);
    return text("1 cm is {pixels} pixels of the measured picture, to within {off} %.", {
      pixels: number(1 / per.usual, 1), off: number(off, 1),
    });
  };

  const measured = ({ whole, width, height, seconds, maskPixels }) =>
    text("Your photo of {whole} pixels was measured at {size}, in {seconds} s, on this device. Areas are sums of how much of each pixel is leaf, as ours are. A mask drawn as by hand, every pixel with some leaf in it, holds {share} % of the whole photo.", {
      whole: `${whole.width} × ${whole.height}`,
      size: `${width} × ${height}`,
      seconds: number(seconds, 1),
      share: number((100 * maskPixels) / (whole.width * whole.height), 2),
    });

  const ofOurs = (ours) => {
    if (!ours || !ours.day) return text("Ours");
    const told = { title: apart(ours.region.title), age: ours.age };
    return ours.isGroup
      ? text("Ours: {title}, day {age}, the plant nearest to its group’s mean", told)
      : text("Ours: {title}, day {age}", told);
  };

  const captions = (ours, days) => [
    days !== null && days >= 0 ? text("Yours, day {age}", { age: days }) : text("Yours"),
    ofOurs(ours),
  ];

  lapsekit.said = { apart, ages, verdict, scale, measured, captions };
})();
