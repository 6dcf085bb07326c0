"use strict";
// A new season's time zone and sowing day are guessed from the browser.
(() => {
  const offer = document.getElementById("take-offer");
  if (offer) {
    offer.hidden = false;
    offer.addEventListener("click", () => {
      document.getElementById("f-time_zone").value = offer.dataset.zone;
      document.getElementById("season-form").requestSubmit();
    });
  }
  const version = document.querySelector('input[name="version"]');
  if (version.value || document.querySelector("main .refusal")) return; // what was typed stays
  const zone = Intl.DateTimeFormat().resolvedOptions().timeZone;
  if (zone) document.getElementById("f-time_zone").value = zone;
  const now = new Date();
  const day = new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  document.getElementById("f-sown").value = day;
})();
