// The small ribbon under two days: the whole season in one line, and a flag for each of the two.
(() => {
  "use strict";
  const DAY = 864e5;
  const SIDES = ["first", "second"];
  const clear = (event) => !event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey;
  const made = (name, className) => Object.assign(document.createElement(name), { className });

  // The parts of a month's sprite that show days on end, each at its place in the season.
  const slicesOf = (strip, placeOf, length, kind) => {
    const found = [];
    strip.days.forEach((day, number) => {
      if (!day) return;
      const last = found[found.length - 1];
      const follows = last && last.from + last.count === number
        && placeOf(day) === placeOf(strip.days[last.from]) + last.count;
      if (follows) last.count += 1;
      else found.push({ from: number, count: 1, left: placeOf(day) / length });
    });
    return found.map(({ from, count, left }) => {
      const window_ = made("span", "two-slices");
      const picture = document.createElement("picture");
      const source = Object.assign(document.createElement("source"), {
        type: `image/${kind}`, srcset: `${lapsekit.root}${strip.stem}.${kind}`,
      });
      const image = Object.assign(document.createElement("img"), {
        src: `${lapsekit.root}${strip.stem}.jpg`, alt: "", decoding: "async", draggable: false,
      });
      window_.style.left = `${100 * left}%`;
      window_.style.width = `${(100 * count) / length}%`;
      image.style.width = `${(100 * strip.days.length) / count}%`;
      image.style.left = `${(-100 * from) / count}%`;
      picture.append(source, image);
      window_.append(picture);
      return window_;
    });
  };

  const keys = {
    ArrowLeft: (at) => at - 1,
    ArrowDown: (at) => at - 1,
    ArrowRight: (at) => at + 1,
    ArrowUp: (at) => at + 1,
    PageUp: (at) => at - 7,
    PageDown: (at) => at + 7,
    Home: () => 0,
    End: (at, last) => last,
  };

  // `pick(side, day)` is told what the reader chose. Gives `draw(camera)` and `set(state, said)`.
  lapsekit.twoStrip = (element, pick) => {
    const band = made("div", "two-band hatched");
    const flags = {};
    const marks = {};
    let days = [];

    const placeOf = (day) => Math.round((Date.parse(day) - Date.parse(days[0])) / DAY);
    const length = () => placeOf(days[days.length - 1]) + 1;
    const nearest = (day) => {
      const away = (each) => Math.abs(Date.parse(each) - Date.parse(day));
      return days.reduce((best, each) => (away(each) < away(best) ? each : best));
    };
    const dayAt = (x) => {
      const { left, width } = band.getBoundingClientRect();
      const place = Math.floor(((x - left) / width) * length());
      return nearest(new Date(Date.parse(days[0]) + DAY * place).toISOString().slice(0, 10));
    };

    const drag = (side) => (event) => {
      if (event.button) return;
      event.preventDefault();
      flags[side].focus({ preventScroll: true });
      element.setPointerCapture(event.pointerId);
      const move = (moved) => pick(side, dayAt(moved.clientX));
      const end = () => {
        element.removeEventListener("pointermove", move);
        element.removeEventListener("pointerup", end);
        element.removeEventListener("pointercancel", end);
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("pointerup", end);
      element.addEventListener("pointercancel", end);
      return move;
    };

    for (const side of SIDES) {
      const flag = made("span", `two-flag ${side}`);
      flag.tabIndex = 0;
      flag.setAttribute("role", "slider");
      flag.setAttribute("aria-label", side === "first"
        ? lapsekit.text("First day") : lapsekit.text("Second day"));
      flag.addEventListener("pointerdown", drag(side));
      flag.addEventListener("keydown", (event) => {
        const move = keys[event.key];
        if (!move || !clear(event)) return;
        event.preventDefault();
        event.stopPropagation();
        const last = days.length - 1;
        const at = move(Number(flag.getAttribute("aria-valuenow")), last);
        pick(side, days[Math.min(last, Math.max(0, at))]);
      });
      flags[side] = flag;
      marks[side] = made("span", `two-mark ${side}`);
    }
    // A press on the ribbon itself brings the nearer flag.
    band.addEventListener("pointerdown", (event) => {
      const away = (side) => {
        const { left, width } = marks[side].getBoundingClientRect();
        return Math.abs(left + width / 2 - event.clientX);
      };
      const move = drag(away("first") < away("second") ? "first" : "second")(event);
      if (move) move(event);
    });
    element.append(flags.first, band, flags.second, marks.first, marks.second);

    const draw = (camera) => {
      days = Object.keys(camera.days).sort();
      band.replaceChildren(
        ...camera.strips.flatMap(
          (strip) => slicesOf(strip, placeOf, length(), camera.kinds[0])));
      for (const side of SIDES) {
        flags[side].setAttribute("aria-valuemin", 0);
        flags[side].setAttribute("aria-valuemax", days.length - 1);
      }
    };

    const set = (chosen, said) => {
      for (const side of SIDES) {
        const day = chosen[side];
        const at = Math.min(1, Math.max(0, (placeOf(day) + 0.5) / length()));
        flags[side].style.setProperty("--at", `${100 * at}%`);
        marks[side].style.setProperty("--at", `${100 * at}%`);
        flags[side].textContent = lapsekit.shortDay(day);
        flags[side].setAttribute("aria-valuenow", days.indexOf(nearest(day)));
        flags[side].setAttribute("aria-valuetext", said(day));
      }
    };
    return { draw, set };
  };
})();
