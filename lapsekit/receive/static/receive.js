"use strict";
// What will be sent is shown before it is; sending works without this.
(() => {
  const form = document.querySelector("form[data-most]");
  const chosen = document.getElementById("pictures");
  const previews = form.querySelector(".previews");
  const button = form.querySelector("button.main");
  const state = form.querySelector(".state");
  let shown = [];

  function megabytes(size) {
    const locale = document.documentElement.lang;
    return `${(size / 1e6).toLocaleString(locale, { maximumFractionDigits: 1 })} MB`;
  }

  function preview(file) {
    const figure = document.createElement("figure");
    const image = document.createElement("img");
    const caption = document.createElement("figcaption");
    const address = URL.createObjectURL(file);
    shown.push(address);
    image.alt = "";
    image.src = address;
    caption.textContent = `${file.name}, ${megabytes(file.size)}`;
    image.addEventListener("error", () => {
      image.remove();
      caption.textContent += `. ${form.dataset.unseen}`;
    });
    figure.append(image, caption);
    return figure;
  }

  function line(text, kind) {
    const found = document.createElement("p");
    found.className = kind;
    found.textContent = text;
    return found;
  }

  function look() {
    shown.forEach((address) => URL.revokeObjectURL(address));
    shown = [];
    const files = [...chosen.files];
    const whole = files.reduce((sum, file) => sum + file.size, 0);
    let wrong = "";
    if (files.length > Number(form.dataset.most)) wrong = form.dataset.tooMany;
    else if (whole > Number(form.dataset.largest) * 1e6) wrong = form.dataset.tooLarge;
    chosen.setCustomValidity(wrong);
    const told = wrong ? line(wrong, "problem") : line(form.dataset.ready, "hint");
    previews.replaceChildren(...files.slice(0, 20).map(preview), ...(files.length ? [told] : []));
  }

  chosen.addEventListener("change", look);
  form.addEventListener("submit", () => {
    button.disabled = true;
    state.textContent = form.dataset.sending;
  });
  // Come back to by the browser's button, the page can send again.
  addEventListener("pageshow", () => {
    button.disabled = false;
    state.textContent = "";
  });
  if (chosen.files.length) look();
})();
