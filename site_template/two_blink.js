// Blinking: one of two days is seen at a time, by turns or when the reader says so.
(() => {
  "use strict";
  const BEAT = 1000; // ms that each picture stands while they blink
  const LEAST = 350; // ms between two changes, whoever asks: never three flashes in a second

  // Names both buttons, tells the stage which day is over the other. What the buttons do, and when
  // to go and to stop, is for the page to say.
  lapsekit.twoBlink = (stage, play, flip) => {
    let over = "first";
    let beat = 0;
    let changed = 0;

    const name = () => {
      play.textContent = beat ? lapsekit.text("Stop") : lapsekit.text("Start");
      flip.textContent = over === "first"
        ? lapsekit.text("Show the second day") : lapsekit.text("Show the first day");
    };
    const turn = () => {
      const now = performance.now();
      if (now - changed < LEAST) return;
      changed = now;
      over = over === "first" ? "second" : "first";
      stage.dataset.over = over;
      name();
    };
    const stop = () => {
      window.clearInterval(beat);
      beat = 0;
      name();
    };
    const go = () => {
      stop();
      beat = window.setInterval(() => { if (!document.hidden) turn(); }, BEAT);
      name();
    };

    stage.dataset.over = over;
    return { turn, stop, go, goes: () => Boolean(beat), over: () => over };
  };
})();
