"use strict";
// Follows work that goes on: reads how far it is every second, and says when it has ended.
(() => {
  const work = document.getElementById("work");
  if (!work || work.dataset.runs !== "yes") return;
  const said = work.querySelector(".said");
  const look = async () => {
    try {
      const told = await desk.read(work.dataset.at);
      said.textContent = told.lines.join("\n");
      said.hidden = !told.lines.length;
      said.scrollTop = said.scrollHeight;
      if (!told.runs) {
        location.reload();
        return;
      }
    } catch (error) {
      desk.say(error.message);
    }
    setTimeout(look, 1000);
  };
  setTimeout(look, 600);
})();
