// Moves about in the season ribbon. Everything here is also there without it, as plain links.
(() => {
  "use strict";
  document.documentElement.classList.add("scripted");

  const clear = (event) => !event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey;

  const nearest = (links, day) => {
    const wanted = Date.parse(day);
    const away = (link) => Math.abs(Date.parse(link.dataset.day) - wanted);
    return links.reduce((best, link) => (away(link) < away(best) ? link : best));
  };

  for (const ribbon of document.querySelectorAll(".ribbon")) {
    const links = [...ribbon.querySelectorAll("a[data-day]")];
    if (!links.length) continue;
    const frame = ribbon.querySelector(".ribbon-window");
    const preview = ribbon.querySelector(".preview");
    const form = ribbon.querySelector("form");
    const chosen = links.find((link) => link.hasAttribute("aria-current")) || links.at(-1);
    let current = chosen;

    const say = (text) => { preview.textContent = text || preview.dataset.rest; };
    const centre = (link) => {
      const [cell, seen] = [link.parentElement, frame].map((each) => each.getBoundingClientRect());
      frame.scrollLeft += cell.left - seen.left - (seen.width - cell.width) / 2;
    };
    const enter = (link) => {
      current.tabIndex = -1;
      link.tabIndex = 0;
      current = link;
    };
    const moves = {
      ArrowLeft: (at) => at - 1,
      ArrowRight: (at) => at + 1,
      PageUp: (at) => at - 7,
      PageDown: (at) => at + 7,
      Home: () => 0,
      End: () => links.length - 1,
    };

    for (const link of links) link.tabIndex = -1;
    enter(chosen);
    centre(chosen);

    ribbon.querySelector("ol").addEventListener("keydown", (event) => {
      const move = moves[event.key];
      const at = links.indexOf(event.target);
      if (!move || at < 0 || !clear(event)) return;
      event.preventDefault();
      event.stopPropagation();
      const link = links[Math.min(links.length - 1, Math.max(0, move(at)))];
      enter(link);
      link.focus();
      centre(link);
    });
    ribbon.addEventListener("focusin", (event) => {
      if (links.includes(event.target)) {
        enter(event.target);
        say(event.target.getAttribute("aria-label"));
      }
    });
    ribbon.addEventListener("focusout", () => say(""));
    ribbon.addEventListener("pointerover", (event) => {
      const place = event.target.closest("a[data-day], .gap");
      say(place && (place.getAttribute("aria-label") || place.title));
    });
    ribbon.addEventListener("pointerleave", () => say(""));
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      const day = form.elements.day.value;
      if (day) window.location.assign(nearest(links, day).href);
    });
  }

  document.addEventListener("keydown", (event) => {
    if (!clear(event) || event.target.closest("input, select, textarea, video, .scroll")) return;
    const turn = { ArrowLeft: "prev", ArrowRight: "next" }[event.key];
    const link = turn && document.querySelector(`a[rel="${turn}"]`);
    if (link) {
      event.preventDefault();
      window.location.assign(link.href);
    }
  });
})();
