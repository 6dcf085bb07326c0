"use strict";
// The codes as a file; they can be written down without this.
(() => {
  const table = document.getElementById("codes");
  const button = document.getElementById("save-codes");
  if (!button) return;
  button.parentElement.hidden = false;
  button.addEventListener("click", () => {
    const rows = [...table.tBodies[0].rows].map((row) => [...row.cells].map((c) => c.textContent));
    const lines = rows.map(([file, code]) => `${code}  ${file}`);
    const text = [table.dataset.head, location.href.replace(/[^/]*$/, "take-back"), ...lines, ""];
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text.join("\n")], { type: "text/plain" }));
    link.download = table.dataset.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  });
})();
