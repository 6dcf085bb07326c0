// The season ribbon: one slice of every day's picture, side by side. Without this script the days
// are walked by plain links.
(() => {
  "use strict";
  const GAP = 3; // days without a picture from which on they are drawn as one break
  const BREAK = 2; // its width in columns
  const FEW = 22; // up to so many columns, slices are wider

  const clear = (event) => !event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey;
  const after = (day, days) => new Date(Date.parse(day) + 864e5 * days).toISOString().slice(0, 10);

  // Cells: a day each, or a run of days without a picture as one break.
  const cellsOf = (camera, season) => {
    const cells = [];
    for (let day = season.first; day <= season.last; day = after(day, 1)) {
      const shown = Boolean(camera.days[day]);
      const last = cells[cells.length - 1];
      if (!shown && last && !last.shown) {
        last.until = day;
        last.days += 1;
      } else {
        cells.push({ day, until: day, days: 1, shown, columns: 1 });
      }
    }
    return cells.flatMap((cell) => {
      if (cell.shown || cell.days >= GAP) return [{ ...cell, columns: cell.shown ? 1 : BREAK }];
      return Array.from({ length: cell.days }, (_, n) => {
        const day = after(cell.day, n);
        return { day, until: day, days: 1, shown: false, columns: 1 };
      });
    });
  };

  const gapText = (cell, camera) => {
    const counts = new Map();
    for (let day = cell.day; day <= cell.until; day = after(day, 1)) {
      const why = camera.gaps[day];
      counts.set(why, (counts.get(why) || 0) + 1);
    }
    if (counts.size === 1) return [...counts.keys()][0];
    return [...counts].sort((a, b) => b[1] - a[1])
      .map(([why, n]) => lapsekit.counted("{why} ({n} day)", "{why} ({n} days)", n, { why })).join("; ");
  };

  const textOf = (cell, camera, season) => {
    const events = season.events.filter(([day]) => day >= cell.day && day <= cell.until);
    let text;
    if (cell.days > 1) {
      text = lapsekit.text("{first} to {last}: {days} days without a picture ({why})", {
        first: lapsekit.shortDay(cell.day),
        last: lapsekit.shortDay(cell.until),
        days: cell.days,
        why: gapText(cell, camera),
      });
    } else {
      text = `${lapsekit.longDay(cell.day)}, ${lapsekit.ageText(cell.day, season.sown)}`;
      if (!cell.shown) {
        text += `: ${lapsekit.text("no picture ({reason})", { reason: camera.gaps[cell.day] })}`;
      }
    }
    const said = [...new Set(events.map(([, what]) => what))].join(", ");
    return said ? lapsekit.text("{day}. Diary: {events}", { day: text, events: said }) : text;
  };

  const made = (name, properties = {}, ...children) => {
    const element = Object.assign(document.createElement(name), properties);
    element.append(...children);
    return element;
  };

  // The slices of a run of days of one month: a window on that month's sprite.
  const slicesOf = (strip, first, count, kind) => {
    const window_ = made("span", { className: "slices", ariaHidden: "true" });
    const picture = made("picture");
    picture.append(
      made("source", { type: `image/${kind}`, srcset: `${lapsekit.root}${strip.stem}.${kind}` }),
      made("img", { src: `${lapsekit.root}${strip.stem}.jpg`, alt: "", loading: "lazy", decoding: "async" }),
    );
    window_.append(picture);
    window_.style.setProperty("--shown", count);
    window_.style.setProperty("--all", strip.days.length);
    window_.style.setProperty("--from", first);
    return window_;
  };

  const draw = (nav, camera, season) => {
    const chosenDay = nav.dataset.day;
    const cells = cellsOf(camera, season);
    const breaks = cells.filter((cell) => cell.days > 1).length;
    const isWide = 2 * breaks >= cells.filter((cell) => cell.shown).length;
    if (isWide) {
      for (const cell of cells) cell.columns = BREAK;
    }
    const columns = cells.reduce((sum, cell) => sum + cell.columns, 0);
    const list = made("ol");
    const strip = made("div", {
      className: `ribbon-strip ${columns <= FEW && !isWide ? "few" : "many"}`,
    }, list);
    const links = [];
    const stripOf = new Map(camera.strips.flatMap((s) => s.days.map((day, n) => [day, [s, n]])));
    const pageDays = new Set(season.cameras.flatMap((each) => Object.keys(each.days)));
    const noted = new Set(season.events.map(([day]) => day));
    const now = new Date(); // the reader's own day
    const today = [now.getFullYear(), now.getMonth() + 1, now.getDate()]
      .map((part) => String(part).padStart(2, "0")).join("-");
    let month = "";
    cells.forEach((cell, number) => {
      const text = textOf(cell, camera, season);
      const item = made("li");
      if (cell.columns > 1) item.classList.add("wide");
      for (let day = cell.day; day <= cell.until; day = after(day, 1)) {
        if (noted.has(day)) item.classList.add("noted");
      }
      if (cell.day.slice(0, 7) !== month) {
        const next = cells.slice(number + 1).findIndex((c) => c.day.slice(0, 7) !== cell.day.slice(0, 7));
        if (next < 0 || next >= 3) {
          item.append(made("span", {
            className: "month", ariaHidden: "true", textContent: lapsekit.monthName(cell.day),
          }));
        }
        month = cell.day.slice(0, 7);
      }
      if (cell.days === 1 && pageDays.has(cell.day)) {
        const latest = cell.day === season.latest;
        const said = latest ? lapsekit.text("{day}, the latest", { day: text }) : text;
        const link = made("a", {
          href: lapsekit.dayPage(cell.day), tabIndex: -1, ariaLabel: said,
          textContent: String(Number(cell.day.slice(8))), className: cell.shown ? "" : "gap",
        });
        link.dataset.day = cell.day;
        if (cell.day === chosenDay) {
          item.classList.add("chosen");
          link.setAttribute("aria-current", nav.dataset.here || "date");
        }
        if (latest) item.classList.add("last");
        if (cell.day === today) item.classList.add("today");
        links.push(link);
        item.append(link);
      } else {
        const short = cell.days > 1
          ? lapsekit.counted("{n} day", "{n} days", cell.days)
          : String(Number(cell.day.slice(8)));
        item.append(made("span", { className: "gap", title: text },
          made("b", { className: "hidden", textContent: text }),
          made("i", { ariaHidden: "true", textContent: short })));
      }
      const at = stripOf.get(cell.day);
      const before = number && stripOf.get(cells[number - 1].day);
      if (at && !(before && before[0] === at[0] && cells[number - 1].columns === cell.columns)) {
        let run = 1;
        while (cells[number + run] && cells[number + run].columns === cell.columns
          && stripOf.get(cells[number + run].day)?.[0] === at[0]) run += 1;
        item.prepend(slicesOf(at[0], at[1], run, camera.kinds[0]));
      }
      list.append(item);
    });
    return { strip, links };
  };

  const nearest = (links, day) => {
    const away = (link) => Math.abs(Date.parse(link.dataset.day) - Date.parse(day));
    return links.reduce((best, link) => (away(link) < away(best) ? link : best));
  };

  const live = (nav, links) => {
    const frame = nav.querySelector(".ribbon-window");
    const preview = nav.querySelector(".preview");
    const form = nav.querySelector("form");
    const chosen = links.find((link) => link.hasAttribute("aria-current")) || links[links.length - 1];
    let current = chosen;
    const rest = preview.textContent;
    const say = (text) => { preview.textContent = text || rest; };
    const centre = (link) => {
      const cell = link.parentElement;
      frame.scrollLeft = cell.offsetLeft - (frame.clientWidth - cell.offsetWidth) / 2;
    };
    const enter = (link) => {
      current.tabIndex = -1;
      link.tabIndex = 0;
      current = link;
    };
    const point = (day, from) => {
      for (const link of nav.querySelectorAll("li.pointed")) link.classList.remove("pointed");
      if (!day) { say(""); return; }
      const link = links.find((each) => each.dataset.day === day);
      if (!link) return;
      link.parentElement.classList.add("pointed");
      say(link.ariaLabel);
      if (from !== nav) centre(link);
    };
    const moves = {
      ArrowLeft: (at) => at - 1,
      ArrowRight: (at) => at + 1,
      PageUp: (at) => at - 7,
      PageDown: (at) => at + 7,
      Home: () => 0,
      End: () => links.length - 1,
    };
    enter(chosen);
    centre(chosen);
    lapsekit.onChoose(point);
    nav.querySelector("ol").addEventListener("keydown", (event) => {
      const move = moves[event.key];
      const at = links.indexOf(event.target);
      if (!move || at < 0 || !clear(event)) return;
      event.preventDefault();
      event.stopPropagation();
      const link = links[Math.min(links.length - 1, Math.max(0, move(at)))];
      enter(link);
      link.focus({ preventScroll: true });
      centre(link);
    });
    nav.addEventListener("focusin", (event) => {
      if (links.includes(event.target)) {
        enter(event.target);
        lapsekit.choose(event.target.dataset.day, nav);
      }
    });
    nav.addEventListener("focusout", () => lapsekit.choose(null, nav));
    frame.addEventListener("pointerover", (event) => {
      const place = event.target.closest("a[data-day], .gap");
      if (place && place.dataset.day) lapsekit.choose(place.dataset.day, nav);
      else if (place) say(place.title);
    });
    frame.addEventListener("pointerleave", () => lapsekit.choose(null, nav));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const day = form.elements.day.value;
      if (!day) return;
      const link = nearest(links, day);
      if (link.dataset.day === day || link === current) {
        window.location.assign(link.href);
        return;
      }
      enter(link);
      lapsekit.choose(link.dataset.day, null);
      say(lapsekit.text("No picture of {day}; the nearest is of {nearest}. Show opens it.", {
        day: lapsekit.shortDay(day), nearest: lapsekit.longDay(link.dataset.day),
      }));
    });
    form.elements.day.min = links[0].dataset.day;
    form.elements.day.max = links[links.length - 1].dataset.day;
    form.elements.day.value = chosen.dataset.day;
  };

  const fill = () => {
    const season = lapsekit.season;
    for (const nav of document.querySelectorAll(".ribbon[data-camera]")) {
      const camera = season.cameras.find((each) => each.name === nav.dataset.camera);
      if (!camera || !Object.keys(camera.days).length) continue;
      const { strip, links } = draw(nav, camera, season);
      nav.querySelector(".ribbon-window").replaceChildren(strip);
      nav.classList.add("drawn");
      live(nav, links);
    }
  };

  // How old the latest picture is, where it is older than yesterday: a page that is no longer made
  // anew must not pass for today's. The morning's page shows the day before, so a day is nothing.
  // Days are those of the season's calendar, by the clock that its latest picture was taken by.
  const daysSince = (moment) => {
    const ahead = Date.parse(`${moment.slice(0, 16)}Z`) - Date.parse(moment);
    return Math.floor((Date.now() + ahead) / 864e5) - Math.floor((Date.parse(moment) + ahead) / 864e5);
  };
  for (const note of document.querySelectorAll(".old[data-newest]")) {
    const n = daysSince(note.dataset.newest);
    if (n < 2) continue;
    note.textContent = lapsekit.counted("The last picture, {n} day ago.", "The last picture, {n} days ago.", n);
  }

  document.addEventListener("keydown", (event) => {
    if (!clear(event) || event.defaultPrevented) return;
    if (event.target.closest("input, select, textarea, video, dialog, .scroll, [data-own-keys]")) return;
    const turn = { ArrowLeft: "prev", ArrowRight: "next" }[event.key];
    const link = turn && document.querySelector(`a[rel="${turn}"]`);
    if (link) {
      event.preventDefault();
      window.location.assign(link.href);
    }
  });

  if (document.querySelector(".ribbon[data-camera]")) lapsekit.idle(() => lapsekit.data("season.js").then(fill));
})();
