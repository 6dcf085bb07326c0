// Says how old the latest picture is, where it is older than yesterday: a page that is no longer
// made anew must not pass for today's. Days are counted in UTC: the bench's time zone is not told.
(() => {
  "use strict";
  for (const note of document.querySelectorAll(".old[data-newest]")) {
    const days = Math.floor((Date.now() - Date.parse(note.dataset.newest)) / 864e5);
    if (days < 2) continue;
    note.textContent = `The last picture, ${days} days ago.`;
    note.hidden = false;
  }
})();
