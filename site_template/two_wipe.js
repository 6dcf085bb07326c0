// The wipe: a line over both days that a pointer or keys move; left of it lies the first.
(() => {
  "use strict";
  const moves = {
    ArrowLeft: (at) => at - 2,
    ArrowDown: (at) => at - 2,
    ArrowRight: (at) => at + 2,
    ArrowUp: (at) => at + 2,
    PageDown: (at) => at - 10,
    PageUp: (at) => at + 10,
    Home: () => 0,
    End: () => 100,
  };

  // `isOn` says whether the stage is wiped now.
  lapsekit.twoWipe = (stage, handle, isOn) => {
    const wipe = (share) => {
      const at = Math.min(100, Math.max(0, Math.round(share)));
      stage.style.setProperty("--wipe", `${at}%`);
      handle.setAttribute("aria-valuenow", at);
      handle.setAttribute("aria-valuetext",
        lapsekit.text("{n} % of the width shows the first day", { n: lapsekit.number(at) }));
    };
    const wipeTo = (event) => {
      const { left, width } = stage.getBoundingClientRect();
      wipe((100 * (event.clientX - left)) / width);
    };

    handle.addEventListener("keydown", (event) => {
      const move = moves[event.key];
      if (!move || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      event.stopPropagation();
      wipe(move(Number(handle.getAttribute("aria-valuenow"))));
    });
    stage.addEventListener("pointerdown", (event) => {
      if (!isOn() || event.button) return;
      if (event.pointerType === "mouse") event.preventDefault();
      stage.setPointerCapture(event.pointerId);
      wipeTo(event);
    });
    stage.addEventListener("pointermove", (event) => {
      if (isOn() && stage.hasPointerCapture(event.pointerId)) wipeTo(event);
    });
    wipe(50);
  };
})();
