// What the site's scripts share: words in the reader's language, days, addresses, and the day that
// is pointed at. The builder writes two lines below: `lapsekit.words` and `lapsekit.assets`.
// data/season.js adds `lapsekit.season`, data/curves.js `lapsekit.curves`.
"use strict";

const lapsekit = (() => {
  const root = new URL("../", document.currentScript.src).href;
  const loaded = new Map();
  const listeners = [];
  const self = { root, fromFolder: location.protocol === "file:" };

  document.documentElement.classList.add("scripted");

  // Behind what ends with a point, like an abbreviated month, a sentence has none of its own.
  const filled = (message, values) =>
    message.replace(/\{(\w+)\}(\.(?=\s|$))?/g, (whole, name, point = "") => {
      if (!(name in values)) return whole;
      const value = String(values[name]);
      return value.endsWith(".") ? value : value + point;
    });
  const dated = (day, options) =>
    new Intl.DateTimeFormat(self.words.locale, { timeZone: "UTC", ...options }).format(new Date(day));

  self.text = (message, values = {}) => filled(self.words.found[message] || message, values);
  self.counted = (one, many, n, values = {}) => {
    const forms = self.words.found[one];
    const form = forms ? forms[self.words.form(n)] : [one, many][Number(n !== 1)];
    return filled(form, { n: self.number(n), ...values });
  };
  self.number = (value, digits = 0) => {
    const parts = new Intl.NumberFormat(self.words.locale, {
      minimumFractionDigits: digits,
      maximumFractionDigits: digits,
    }).formatToParts(value);
    const said = { group: "\u202f", minusSign: "\u2212" };
    return parts.map((part) => said[part.type] || part.value).join("");
  };
  self.longDay = (day) =>
    dated(day, { weekday: "long", day: "numeric", month: "long", year: "numeric" });
  self.shortDay = (day) => dated(day, { day: "numeric", month: "short" });
  self.monthName = (day) => dated(day, { month: "long" });
  self.age = (day, sown) => Math.round((Date.parse(day) - Date.parse(sown)) / 864e5);
  self.ageText = (day, sown) => {
    const age = self.age(day, sown);
    if (age >= 0) return self.text("day {age}", { age });
    return self.counted("{n} day before sowing", "{n} days before sowing", -age);
  };

  self.address = (path) => root + path;
  self.asset = (name) => root + self.assets[name];
  self.dayPage = (day) => `${root}day/${day}/index.html`;
  self.load = (url) => {
    if (!loaded.has(url)) {
      loaded.set(url, new Promise((done, failed) => {
        const script = document.createElement("script");
        script.src = url;
        script.onload = () => done();
        script.onerror = () => failed(new Error(url));
        document.head.append(script);
      }));
    }
    return loaded.get(url);
  };
  // Data change with a morning's build; the address they are asked for by does so every hour.
  self.data = (name) =>
    self.load(`${root}data/${name}?${new Date().toISOString().slice(0, 13)}`);
  self.idle = (run) => {
    const soon = () => (window.requestIdleCallback || ((f) => setTimeout(f, 50)))(run);
    if (document.readyState === "complete") soon();
    else window.addEventListener("load", soon);
  };

  // The day that is pointed at, on the ribbon, a curve or in the film; null for none.
  self.onChoose = (listener) => listeners.push(listener);
  self.choose = (day, from) => {
    for (const listener of listeners) listener(day, from);
  };

  self.picture = (shown, kinds, sizes) => {
    const picture = document.createElement("picture");
    for (const kind of kinds.slice(0, -1)) {
      const source = document.createElement("source");
      source.type = `image/${kind}`;
      source.srcset = shown.widths.map((w) => `${root}${shown.stem}-${w}.${kind} ${w}w`).join(", ");
      source.sizes = sizes;
      picture.append(source);
    }
    const image = document.createElement("img");
    const plain = shown.fallback || shown.widths;
    const last = kinds[kinds.length - 1];
    image.sizes = sizes;
    image.srcset = plain.map((w) => `${root}${shown.stem}-${w}.${last} ${w}w`).join(", ");
    image.src = `${root}${shown.stem}-${plain[plain.length - 1]}.${last}`;
    image.alt = "";
    image.decoding = "async";
    picture.append(image);
    return picture;
  };
  return self;
})();
