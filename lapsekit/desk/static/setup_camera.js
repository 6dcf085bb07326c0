"use strict";
// Of all kinds of cameras only the chosen one's settings are in sight.
(() => {
  const form = document.getElementById("camera-form");
  const sets = [...form.querySelectorAll("fieldset.of-kind")];
  const show = () => {
    const kind = form.querySelector('input[name="kind"]:checked');
    for (const set of sets) set.hidden = !kind || set.dataset.kind !== kind.value;
    const brings = kind && kind.value === "files";
    form.querySelector('button[value="try"]').hidden = brings;
    form.querySelector('button[value=""]').classList.toggle("main", brings);
  };
  form.addEventListener("change", show);
  form.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (button && button.value === "try") desk.say("The camera takes a picture …");
  });
  show();
})();
