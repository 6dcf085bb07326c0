"use strict";
// What all pages of the desk share: `desk.read`, `desk.send`, `desk.say`.
const desk = (() => {
  const token = document.querySelector('meta[name="form-token"]').content;

  async function answer(response) {
    const kind = response.headers.get("content-type") || "";
    const told = kind.includes("json") ? await response.json() : { error: await response.text() };
    if (!response.ok) {
      const error = new Error((told.error || response.statusText).trim());
      error.status = response.status;
      throw error;
    }
    return told;
  }

  // What an address tells as JSON.
  async function read(address, options = {}) {
    return answer(await fetch(address, { headers: { accept: "application/json" }, ...options }));
  }

  // Send fields to an address: an object, whose lists become several fields, or a FormData.
  async function send(address, fields, options = {}) {
    let body = fields;
    if (!(fields instanceof FormData)) {
      body = new URLSearchParams();
      for (const [name, value] of Object.entries(fields))
        for (const each of Array.isArray(value) ? value : [value]) body.append(name, each);
    }
    const headers = { accept: "application/json", "x-form-token": token };
    return answer(await fetch(address, { method: "POST", headers, body, ...options }));
  }

  // Tell something at the head of the page; `undo` names a change that a button takes back.
  function say(text, how = "note", undo = "", button = "Undo") {
    const notes = document.getElementById("notes");
    const line = document.createElement("div");
    line.className = how;
    line.append(Object.assign(document.createElement("p"), { textContent: text }));
    if (undo) {
      const form = Object.assign(document.createElement("form"), { method: "post", action: "/changes/undo" });
      const fields = { form_token: token, change: undo, back: location.pathname + location.search };
      for (const [name, value] of Object.entries(fields))
        form.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
      form.append(Object.assign(document.createElement("button"), { className: "quiet", textContent: button }));
      line.append(form);
    }
    notes.replaceChildren(line);
    if (how === "refusal") line.scrollIntoView({ block: "nearest" });
  }

  // Days, and numbers with their units, stay on one line; what the page says stays the same.
  const whole = /\d{4}-\d\d-\d\d(?: \d\d:\d\d)?|\d[\d.,]* (?:%|px|cm²|cm|mm|m|MB|GB|kB|°C)(?![\p{L}\d])/gu;
  const texts = document.createTreeWalker(document.querySelector("main"), NodeFilter.SHOW_TEXT);
  const broken = [];
  while (texts.nextNode()) if (texts.currentNode.data.search(whole) >= 0) broken.push(texts.currentNode);
  for (const text of broken) {
    const around = text.parentElement;
    if (around.closest("pre, textarea, select, script, svg, button") || /grid|flex/.test(getComputedStyle(around).display)) continue;
    const parts = [];
    let at = 0;
    for (const { 0: found, index } of text.data.matchAll(whole)) {
      parts.push(text.data.slice(at, index), Object.assign(document.createElement("span"), { className: "whole", textContent: found }));
      at = index + found.length;
    }
    text.replaceWith(...parts, text.data.slice(at));
  }

  // On a laptop all pages are in sight.
  const more = document.querySelector(".menu details");
  const wide = matchMedia("(min-width: 64rem)");
  const open = () => more && (more.open = wide.matches);
  wide.addEventListener("change", open);
  open();

  return { read, send, say, token };
})();
