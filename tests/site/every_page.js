// What tests ask of a page, whatever page it is. Evaluated by tests/site/test_every_page.py.
(() => {
  const shown = (element) => element.checkVisibility({
    visibilityProperty: true, contentVisibilityAuto: false,
  }) && element.getBoundingClientRect().width > 0;
  const named = (element) => element.outerHTML.slice(0, 120);
  const clipped = (element) => {
    for (let e = element.parentElement; e && e !== document.body; e = e.parentElement) {
      if (getComputedStyle(e).overflowX !== "visible") return true;
    }
    return false;
  };
  const stops = () => [...document.querySelectorAll(
    'a[href], button, input, select, textarea, summary, video[controls], [tabindex="0"], [contenteditable="true"]',
  )].filter((e) => shown(e) && !e.disabled && e.tabIndex >= 0
    && !(e.type === "radio" && !e.checked && document.querySelector(`input[name="${e.name}"]:checked`)));

  window.everyPage = {
    // Once what is drawn while the page is idle stands there.
    settled: () => new Promise((done, failed) => {
      const until = performance.now() + 10000;
      const look = () => {
        const waiting = document.querySelectorAll(".ribbon[data-camera]:not(.drawn)");
        if (document.readyState === "complete" && !waiting.length) done();
        else if (performance.now() > until) failed(new Error("not drawn after 10 s"));
        else setTimeout(look, 20);
      };
      look();
    }),
    // What stands out on the right, if the page can be scrolled sideways.
    sideways: () => {
      const width = document.documentElement.clientWidth;
      if (document.documentElement.scrollWidth <= width) return [];
      return [...document.querySelectorAll("body *")]
        .filter((e) => e.getBoundingClientRect().right > width + 1 && !clipped(e))
        .map(named).slice(0, 3);
    },
    stops: () => stops().length,
    // One look at what has the focus: which stop it is, and whether one can see that it is.
    focused: () => {
      const element = document.activeElement;
      if (!element || element === document.body) return null;
      // In a date field the focus moves on to parts that the browser draws, with its own mark.
      if (element.matches("input:not(:focus)")) return { named: named(element), seen: true };
      const marked = [element, ...element.children].map((e) => getComputedStyle(e)).some((style) =>
        (style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 1)
          || style.boxShadow !== "none");
      element.dataset.reached = "yes";
      return {
        named: named(element),
        seen: shown(element) && marked,
      };
    },
    unreached: () => stops().filter((e) => !e.dataset.reached && !e.closest("video")).map(named),
  };
})();
