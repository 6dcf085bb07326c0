"use strict";
// A tap on a word whose figure is missing opens the place where it is written, and picks the word:
// it can be noted there, too, with words of one's own.
(() => {
  const form = document.getElementById("new-event");
  if (!form) return;
  const more = form.querySelector(".more");
  const wants = (word) => ({ height: "height", harvest: "weight", own: "own" })[word];
  let asked = "";

  function pick(word) {
    document.getElementById("picked").value = word;
    const note = document.getElementById("note-picked");
    note.hidden = false;
    note.textContent = `Note “${word}” with these words`;
    document.getElementById("note-own").textContent = "Note these words alone";
  }

  form.addEventListener("submit", (event) => {
    const said = event.submitter ? event.submitter.value : "";
    const word = said === "picked" ? document.getElementById("picked").value : said;
    const field = form.querySelector(`#${wants(word) || "none"}`);
    if (!field || field.value.trim() || asked === word) return;
    event.preventDefault();
    if (word === "harvest") asked = word; // the second tap goes without a weight
    more.open = true;
    if (word !== "own") pick(word);
    const told = {
      height: "Write the height in cm and choose a region, then tap “height” again.",
      harvest: "Write the weight in g, or tap “harvest” again to go without.",
      own: "Write what was done or seen first.",
    };
    desk.say(told[word]);
    field.focus();
  });
})();
