// Boxes that stay ticked, and figures to enlarge.
(function () {
  "use strict";
  const key = document.documentElement.dataset.book;
  const boxes = Array.from(document.querySelectorAll("input[data-step]"));
  const told = document.getElementById("done");

  function read() {
    try {
      const kept = JSON.parse(localStorage.getItem(key) || "[]");
      return new Set(Array.isArray(kept) ? kept : []);
    } catch (_) {
      return new Set(); // a browser that keeps nothing, or kept something else
    }
  }
  function keep() {
    const ticked = boxes.filter((box) => box.checked).map((box) => box.dataset.step);
    try {
      localStorage.setItem(key, JSON.stringify(ticked));
    } catch (_) {
      // it is ticked on this page all the same
    }
    count();
  }
  function count() {
    const ticked = boxes.filter((box) => box.checked).length;
    if (told) told.textContent = ticked + " of " + boxes.length + " steps ticked";
  }
  const ticked = read();
  for (const box of boxes) {
    box.checked = ticked.has(box.dataset.step);
    box.addEventListener("change", keep);
  }
  count();
  window.addEventListener("storage", (event) => {
    if (event.key !== key) return;
    const now = read();
    for (const box of boxes) box.checked = now.has(box.dataset.step);
    count();
  });
  const clear = document.getElementById("clear");
  if (clear) {
    clear.hidden = false;
    clear.addEventListener("click", () => {
      if (!window.confirm("Untick all steps?")) return;
      for (const box of boxes) box.checked = false;
      keep();
    });
  }

  const folded = Array.from(document.querySelectorAll("details"));
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = folded.filter((one) => !one.open);
    for (const one of opened) one.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const one of opened) one.open = false;
  });

  for (const button of document.querySelectorAll("button.larger")) {
    const sheet = button.parentElement.querySelector(".sheet");
    const name = button.getAttribute("aria-label").replace(/^Larger: /, "");
    button.hidden = false;
    button.addEventListener("click", () => {
      const isLarge = sheet.classList.toggle("large");
      button.textContent = isLarge ? "Smaller" : "Larger";
      button.setAttribute("aria-label", button.textContent + ": " + name);
      if (isLarge) sheet.setAttribute("tabindex", "0");
      else sheet.removeAttribute("tabindex");
    });
  }
})();
