"use strict";
// A tap on a word whose figure is missing opens the place where it is written.
(() => {
  const form = document.getElementById("new-event");
  if (!form) return;
  const more = form.querySelector(".more");
  const wants = (word) => ({ height: "height", harvest: "weight", own: "own" })[word];
  let asked = "";
  form.addEventListener("submit", (event) => {
    const word = event.submitter ? event.submitter.value : "";
    const field = form.querySelector(`#${wants(word) || "none"}`);
    if (!field || field.value.trim() || asked === word) return;
    event.preventDefault();
    if (word === "harvest") asked = word; // the second tap goes without a weight
    more.open = true;
    const told = {
      height: "Write the height in cm and choose a region, then tap “height” again.",
      harvest: "Write the weight in g, or tap “harvest” again to go without.",
      own: "Write what was done or seen first.",
    };
    desk.say(told[word]);
    field.focus();
  });
})();
