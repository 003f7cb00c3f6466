// Boxes that stay ticked, the next one in reach, and figures to enlarge.
(function () {
  "use strict";
  const key = document.documentElement.dataset.book;
  const boxes = Array.from(document.querySelectorAll("input[data-step]"));
  const find = (name) => document.getElementById(name);
  const words = (box) => box.nextElementSibling.textContent.replace(/\s+/g, " ").trim().slice(0, 80);
  const here = new Set(boxes.map((box) => box.dataset.step));

  // What is ticked, by its key: the words of the step. It outlives a build; a step that is the same keeps its key.
  function read() {
    try {
      const kept = JSON.parse(localStorage.getItem(key) || "{}");
      return new Map(Object.entries(kept).filter((pair) => typeof pair[1] === "string"));
    } catch (_) {
      return new Map(); // a browser that keeps nothing, or kept something else
    }
  }
  function write(kept) {
    try {
      localStorage.setItem(key, JSON.stringify(Object.fromEntries(kept)));
    } catch (_) {
      // it is ticked on this page all the same
    }
  }
  function show() {
    const kept = read();
    for (const box of boxes) box.checked = kept.has(box.dataset.step);
    tell();
  }
  function tell() {
    const ticked = boxes.filter((box) => box.checked).length;
    const next = boxes.find((box) => !box.checked);
    const bar = find("bar");
    if (!bar) return;
    bar.hidden = false;
    find("done").textContent = ticked + " of " + boxes.length + " steps ticked";
    find("share").max = Math.max(boxes.length, 1);
    find("share").value = ticked;
    find("next").hidden = !next;
    if (next) find("next").textContent = "Next: " + words(next);
    const lost = Array.from(read()).filter((pair) => !here.has(pair[0])).map((pair) => pair[1]);
    find("lost").hidden = lost.length === 0;
    find("lost-words").textContent =
      "Built again: " + lost.length + (lost.length === 1 ? " tick is" : " ticks are") +
      " taken off, for what has changed since: " + lost.join("; ") + ". All other ticks stay.";
  }
  for (const box of boxes) {
    box.addEventListener("change", () => {
      const kept = read();
      if (box.checked) kept.set(box.dataset.step, words(box));
      else kept.delete(box.dataset.step);
      write(kept);
      tell();
    });
  }
  show();
  window.addEventListener("storage", (event) => {
    if (event.key === key) show();
  });
  if (find("bar")) {
    find("clear").hidden = false;
    find("next").addEventListener("click", (event) => {
      const next = boxes.find((box) => !box.checked);
      if (!next) return;
      event.preventDefault();
      next.closest("li").scrollIntoView({ block: "center" });
      next.focus({ preventScroll: true });
    });
    find("clear").addEventListener("click", () => {
      if (!window.confirm("Untick all steps?")) return;
      write(new Map());
      show();
    });
    find("forget").addEventListener("click", () => {
      write(new Map(Array.from(read()).filter((pair) => here.has(pair[0]))));
      tell();
    });
  }

  const folded = Array.from(document.querySelectorAll("details:not(.screen):not(.shut)"));
  let opened = [];
  window.addEventListener("beforeprint", () => {
    opened = folded.filter((one) => !one.open);
    for (const one of opened) one.open = true;
  });
  window.addEventListener("afterprint", () => {
    for (const one of opened) one.open = false;
  });

  for (const button of document.querySelectorAll("button.larger")) {
    const sheet = button.closest("figure").querySelector(".sheet");
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
