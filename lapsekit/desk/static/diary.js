"use strict";
// A tap on a word whose figure is missing opens the place where it is written, and picks the word:
// it can be noted there, too, with words of one's own. Enter in a field presses no word.
(() => {
  const form = document.getElementById("new-event");
  if (!form) return;
  const more = form.querySelector(".more");
  const [notePicked, noteOwn] = ["note-picked", "note-own"].map((id) => document.getElementById(id));
  const asks = Object.assign(document.createElement("p"), { className: "refusal", id: "asks", role: "alert" });
  const wants = (word) => ({ height: "height", harvest: "weight", own: "own" })[word];
  let asked = "";

  function pick(word) {
    document.getElementById("picked").value = word;
    notePicked.hidden = false;
    notePicked.textContent = `Note “${word}” with these words`;
    noteOwn.textContent = "Note these words alone";
  }

  // Said right above the field that it is about, which may be far from the head of the page.
  function ask(told, field) {
    more.open = true;
    field.closest(".row, .field").before(asks);
    asks.textContent = told;
    field.focus({ preventScroll: true });
    asks.scrollIntoView({ block: "center" });
  }

  function entered(field) {
    if (!notePicked.hidden) return notePicked.click();
    if (field && field.id === "own") return noteOwn.click();
    if (field && more.contains(field))
      return ask("Nothing is noted yet: tap what was done or seen, above, or “Note these words”.", field);
    desk.say("Nothing is noted yet: tap what was done or seen.");
  }

  form.addEventListener("submit", (event) => {
    const said = event.submitter ? event.submitter.value : "";
    if (said === "enter") {
      event.preventDefault();
      const field = document.activeElement;
      return setTimeout(() => entered(field)); // a form that is being sent is not sent again meanwhile
    }
    const word = said === "picked" ? document.getElementById("picked").value : said;
    const field = form.querySelector(`#${wants(word) || "none"}`);
    if (!field || field.value.trim() || asked === word) return;
    event.preventDefault();
    if (word === "harvest") asked = word; // the second tap goes without a weight
    if (word !== "own") pick(word);
    const told = {
      height: "Write the height in cm and choose a region, then tap “height” again, or Enter.",
      harvest: "Write the weight in g, or tap “harvest” again to go without.",
      own: "Write what was done or seen first.",
    };
    ask(told[word], field);
  });
})();
