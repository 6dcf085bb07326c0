"use strict";
// Waits until regions are found, then shows them.
(() => {
  const look = async () => {
    try {
      if ((await desk.read(location.pathname)).is_done) location.reload();
      else setTimeout(look, 1000);
    } catch (error) {
      desk.say(error.message, "refusal");
    }
  };
  setTimeout(look, 700);
})();
