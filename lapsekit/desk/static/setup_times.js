"use strict";
// Only the fields of the chosen way are in sight.
(() => {
  const form = document.getElementById("times-form");
  const show = () => {
    const way = form.querySelector('input[name="way"]:checked').value;
    for (const set of form.querySelectorAll(".of-way")) set.hidden = set.dataset.way !== way;
  };
  form.addEventListener("change", show);
  show();
})();
