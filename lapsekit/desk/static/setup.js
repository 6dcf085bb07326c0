"use strict";
// What was typed or drawn is not lost on the way: Next saves it, other ways out ask first.
(() => {
  const forms = [...document.querySelectorAll("form[data-keeps]")];
  const told = (form) => JSON.stringify([...new FormData(form)].filter(([name]) => name !== "form_token"));
  const before = new Map();
  // A form that draws says by itself whether it was changed.
  const changed = () => forms.find((form) => !form.hidden && (form.isChanged ? form.isChanged() : told(form) !== before.get(form)));
  let leaves = false;

  addEventListener("load", () => forms.forEach((form) => before.set(form, told(form))));
  for (const form of forms) form.addEventListener("submit", (event) => (leaves = !event.defaultPrevented));
  addEventListener("beforeunload", (event) => {
    if (!leaves && before.size && changed()) event.preventDefault();
  });

  const next = document.querySelector(".onward a");
  if (next)
    next.addEventListener("click", (event) => {
      const form = changed();
      if (!form) return;
      event.preventDefault();
      const then = Object.assign(document.createElement("input"), { type: "hidden", name: "then", value: "next" });
      form.prepend(then);
      form.requestSubmit();
      then.remove(); // a refused form stays on the page, and its own button says what it says
    });
})();
