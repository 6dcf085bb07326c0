// Two days held together: by a wipe, by blinking, or side by side; whole, or one region closer.
(() => {
  "use strict";
  const { read, write, around } = lapsekit.twoAddress;
  const { viewOf } = lapsekit.turning;
  const SIDES = ["first", "second"];
  const WAIT = 60; // ms that days may go on changing before pictures are asked for

  const find = (query, within = document) => within.querySelector(query);
  const made = (name, properties = {}) => Object.assign(document.createElement(name), properties);
  const both = (make) => Object.fromEntries(SIDES.map((side) => [side, make(side)]));
  const stillness = window.matchMedia("(prefers-reduced-motion: reduce)");

  const start = () => {
    const season = lapsekit.season;
    const cameras = season.cameras.filter((each) => Object.keys(each.days).length > 1);
    const stage = find(".two-stage");
    const handle = find(".two-handle");
    const blink = lapsekit.twoBlink(stage, find(".two-play"), find(".two-flip"));
    const said = find(".two-said");
    const panes = both((side) => lapsekit.pane(find(`.two-pane[data-side="${side}"]`)));
    const fields = both((side) => find(`.two-fields[data-side="${side}"]`));
    const dates = both((side) => find(`.two-date[data-side="${side}"]`));
    const [cameraSelect, regionSelect] = [find(".two-camera select"), find(".two-region select")];
    let state = read(location.hash, season);
    let wanted = !stillness.matches; // whether they blink as soon as both are there
    let asked = 0;
    let waiting = 0;

    const camera = () => cameras.find((each) => each.name === state.camera);
    const region = () => season.regions.find((each) => each.name === state.region) || null;
    const daysOf = () => Object.keys(camera().days).sort();
    const ageOf = (day) => lapsekit.ageText(day, region()?.sown || season.sown);
    const dayText = (day) => lapsekit.text("{day}, {age}", { day: lapsekit.longDay(day), age: ageOf(day) });
    const ready = () => SIDES.every((side) => panes[side].has());

    // What stands there -------------------------------------------------------------------

    const lay = () => {
      const { paneHeight } = viewOf(region()?.box, camera(), 1);
      stage.style.setProperty("--shape", 1 / paneHeight);
      for (const side of SIDES) panes[side].lay(region()?.box, camera());
    };

    const request = (side) => {
      const day = state[side];
      const picture = camera().days[day];
      return {
        picture,
        kinds: picture?.kinds || camera().kinds,
        box: region()?.box,
        reference: camera(),
        alt: lapsekit.text("{place} on {day}, seen from above", {
          place: region()?.title || lapsekit.text("The whole view"), day: dayText(day),
        }),
        label: picture
          ? lapsekit.shortDay(day)
          : lapsekit.text("{day}: no picture", { day: lapsekit.shortDay(day) }),
      };
    };

    const show = async () => {
      asked += 1;
      const mine = asked;
      stage.setAttribute("aria-busy", "true");
      lay();
      const came = await Promise.all(SIDES.map((side) => panes[side].show(request(side)).catch(() => {
        panes[side].clear();
        return null;
      })));
      if (mine !== asked) return;
      stage.removeAttribute("aria-busy");
      lay();
      rest();
      if (came.includes(null)) said.textContent = lapsekit.text("A picture could not be loaded. Try again when the connection is back.");
      grow();
    };

    // Words -------------------------------------------------------------------------------

    const shownText = () => {
      const days = both((side) => {
        const day = dayText(state[side]);
        return panes[side].has() ? day : lapsekit.text("{day} (no picture)", { day });
      });
      const view = stage.dataset.view;
      if (view === "side") return lapsekit.text("{first}, beside {second}.", days);
      if (view === "wipe") return lapsekit.text("Left of the line {first}; right of it {second}.", days);
      if (blink.goes()) return lapsekit.text("{first}, and {second}, by turns.", days);
      return lapsekit.text("Still: {day}.", { day: days[blink.over()] });
    };
    const say = () => {
      const title = region()?.title;
      said.textContent = title ? lapsekit.text("{plant}. {shown}", { plant: title, shown: shownText() }) : shownText();
    };

    const missing = (side) => {
      const place = find(".two-missing", fields[side]);
      const day = state[side];
      place.replaceChildren();
      if (camera().days[day]) return;
      const reason = camera().gaps[day];
      place.append(reason
        ? lapsekit.text("No picture on {day}: {reason}. Nearest:", { day: lapsekit.longDay(day), reason })
        : lapsekit.text("No picture on {day}. Nearest:", { day: lapsekit.longDay(day) }));
      for (const near of Object.values(around(daysOf(), day))) {
        if (!near) continue;
        const button = made("button", { type: "button", textContent: lapsekit.shortDay(near) });
        button.addEventListener("click", () => {
          choose({ [side]: near });
          find("input", fields[side]).focus();
        });
        place.append(" ", button);
      }
    };

    const dated = (day, options) =>
      new Intl.DateTimeFormat(lapsekit.words.locale, { timeZone: "UTC", ...options }).format(new Date(day));
    const hasPage = (day) => season.cameras.some((each) => each.days[day]);
    const dateOf = (day) => {
      const whole = hasPage(day) ? made("a", { href: lapsekit.dayPage(day) }) : made("span");
      for (const [className, text] of [
        ["weekday", dated(day, { weekday: "long" })],
        ["numeral", String(Number(day.slice(8)))],
        ["month", dated(day, { month: "long" })],
        ["years", ageOf(day)],
      ]) whole.append(made("span", { className, textContent: text }), " ");
      find(".month", whole).append(made("span", { className: "year", textContent: ` ${day.slice(0, 4)}` }));
      return whole;
    };

    const apart = () => {
      const n = Math.abs(Date.parse(state.second) - Date.parse(state.first)) / 864e5;
      return n ? lapsekit.counted("{n} day apart", "{n} days apart", n) : lapsekit.text("the same day");
    };

    const grow = () => {
      const place = find(".two-grown");
      lapsekit.idle(() => lapsekit.data("curves.js").then(
        () => lapsekit.twoGrowth.fill(place, { ...state, region: region() }),
        () => place.replaceChildren(made("p", { textContent: lapsekit.text("The values could not be loaded.") })),
      ));
    };

    // Choosing ----------------------------------------------------------------------------

    const option = (value, text) => made("option", { value, textContent: text });
    const fillRegions = () => {
      const here = season.regions.filter((each) => each.camera === state.camera);
      const groups = new Map();
      regionSelect.replaceChildren(option("", lapsekit.text("The whole view")));
      for (const each of here) {
        let place = regionSelect;
        if (each.group) {
          place = groups.get(each.group) || made("optgroup", { label: each.group });
          groups.set(each.group, place);
          regionSelect.append(place);
        }
        place.append(option(each.name, each.title));
      }
      find(".two-region").hidden = !here.length;
    };

    const strip = lapsekit.twoStrip(find(".two-strip"), (side, day) => choose({ [side]: day }));

    const update = () => {
      const days = daysOf();
      stage.dataset.view = state.view;
      find(`.two-views input[value="${state.view}"]`).checked = true;
      find(".two-blinking").hidden = state.view !== "blink";
      handle.hidden = state.view !== "wipe";
      cameraSelect.value = state.camera;
      regionSelect.value = state.region || "";
      strip.set(state, dayText);
      for (const side of SIDES) {
        const input = find("input", fields[side]);
        [input.min, input.max, input.value] = [days[0], days[days.length - 1], state[side]];
        find(".two-before", fields[side]).disabled = !around(days, state[side]).before;
        find(".two-after", fields[side]).disabled = !around(days, state[side]).after;
        if (dates[side].dataset.told !== `${state[side]} ${ageOf(state[side])}`) {
          dates[side].dataset.told = `${state[side]} ${ageOf(state[side])}`;
          dates[side].replaceChildren(dateOf(state[side]));
        }
        missing(side);
      }
      find(".two-apart").textContent = apart();
      find(".two-link").href = write(state, season);
    };

    // Once all that was asked for stands there.
    const rest = () => {
      if (state.view !== "blink" || !ready()) blink.stop();
      else if (wanted && !blink.goes()) blink.go();
      say();
    };

    const choose = (news) => {
      const before = state;
      state = { ...state, ...news };
      if (state.camera !== before.camera) {
        fillRegions();
        strip.draw(camera());
      }
      if (state.view !== before.view) {
        blink.stop();
        wanted = !stillness.matches;
      }
      if (location.hash !== write(state, season)) history.replaceState(null, "", write(state, season));
      update();
      lay();
      stage.setAttribute("aria-busy", "true");
      window.clearTimeout(waiting);
      waiting = window.setTimeout(show, WAIT);
    };

    const step = (side, to) => {
      const day = around(daysOf(), state[side])[to];
      if (day) choose({ [side]: day });
    };

    // Keys, fields and all that --------------------------------------------------------------

    const toggle = () => {
      wanted = !blink.goes();
      blink.stop();
      rest();
    };
    find(".two-play").addEventListener("click", toggle);
    find(".two-flip").addEventListener("click", () => {
      wanted = false;
      blink.stop();
      blink.turn();
      say();
    });
    document.addEventListener("keydown", (event) => {
      if (event.defaultPrevented || event.altKey || event.ctrlKey || event.metaKey) return;
      const onView = event.target.closest(".two-views");
      if (event.target.closest("select, textarea, [role=slider], .two-fields input")) return;
      if (event.key === " " && state.view === "blink") {
        if (event.target.closest("button, a")) return;
        event.preventDefault();
        if (!event.repeat) toggle();
      } else if (!onView && (event.key === "ArrowLeft" || event.key === "ArrowRight")) {
        event.preventDefault();
        step(event.shiftKey ? "first" : "second", event.key === "ArrowLeft" ? "before" : "after");
      }
    });
    for (const side of SIDES) {
      find("input", fields[side]).addEventListener("change", (event) => {
        if (event.target.value) choose({ [side]: event.target.value });
      });
      find(".two-before", fields[side]).addEventListener("click", () => step(side, "before"));
      find(".two-after", fields[side]).addEventListener("click", () => step(side, "after"));
    }
    find(".two-views").addEventListener("change", (event) => choose({ view: event.target.value }));
    regionSelect.addEventListener("change", () => choose({ region: regionSelect.value || null }));
    cameraSelect.addEventListener("change", () => choose({ camera: cameraSelect.value, region: null }));
    window.addEventListener("hashchange", () => choose(read(location.hash, season)));
    stillness.addEventListener("change", () => { wanted = false; blink.stop(); say(); });

    // On paper they stand side by side.
    const paper = (printed) => {
      stage.classList.toggle("printed", printed);
      stage.dataset.view = printed ? "side" : state.view;
      lay();
      say();
    };
    window.addEventListener("beforeprint", () => paper(true));
    window.addEventListener("afterprint", () => paper(false));
    window.matchMedia("print").addEventListener("change", (event) => paper(event.matches));
    new ResizeObserver(lay).observe(find(".two-pane"));

    cameraSelect.replaceChildren(...cameras.map((each) => option(each.name, each.name)));
    find(".two-camera").hidden = cameras.length < 2;
    fillRegions();
    strip.draw(camera());
    lapsekit.twoWipe(stage, handle, () => state.view === "wipe");
    update();
    show();
  };

  lapsekit.data("season.js").then(start, () => {
    const note = find(".two-failed");
    note.textContent = lapsekit.text("The list of pictures could not be loaded. Load the page again when the connection is back.");
    note.hidden = false;
  });
})();
