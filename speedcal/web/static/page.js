// Small help for the pages; every page works without it.
"use strict";

// How far an analysis is: ask now and then, load the page again when it is done.
(() => {
  const note = document.getElementById("progress");
  if (!note) return;
  const step = document.getElementById("progress-step");
  const bar = document.getElementById("progress-bar");
  const ask = async () => {
    try {
      const answer = await fetch(note.dataset.status, { headers: { accept: "application/json" } });
      const state = await answer.json();
      if (answer.ok && !state.active) {
        if (!isTyping()) location.reload();
        else step.textContent = "Done. Load the page again to see the result.";
        return;
      }
      if (answer.ok && step.textContent !== sentence(state.step)) step.textContent = sentence(state.step);
      if (answer.ok) bar.value = state.part;
    } catch {
      step.textContent = "The service does not answer; trying again.";
    }
    setTimeout(ask, 1500);
  };
  const sentence = (text) => text.charAt(0).toUpperCase() + text.slice(1) + ".";
  const isTyping = () => [...document.querySelectorAll("main form input, main form textarea")].some(
    (field) => field.type === "file" ? field.files.length : field.type !== "hidden" && field.value !== field.defaultValue);
  setTimeout(ask, 1000);
})();

// A file beyond the limit is said before it is sent, and pasted rows go where they belong.
(() => {
  const form = document.getElementById("drive-form");
  if (!form) return;
  const most = Number(form.dataset.most);
  for (const input of form.querySelectorAll("input[type=file]")) {
    input.addEventListener("change", () => {
      const file = input.files[0];
      const size = Math.floor(most / 1048576);
      input.setCustomValidity(file && file.size > most ? `This file is larger than ${size} MB.` : "");
      input.reportValidity();
    });
  }
  const rows = form.querySelector(".rows");
  const cells = () => [...rows.querySelectorAll("input")];
  const grow = () => {  // always an empty row at the end
    const all = cells();
    if (!all.slice(-2).some((cell) => cell.value)) return;
    const number = all.length / 2 + 1;
    const count = rows.querySelector(".count").cloneNode();
    count.textContent = String(number);
    rows.append(count);
    for (const [cell, name] of [[all[0], "Time of reading"], [all[1], "Dial at reading"]]) {
      const more = cell.cloneNode();
      more.value = "";
      more.removeAttribute("value");
      more.placeholder = "";
      more.setAttribute("aria-label", `${name} ${number}`);
      rows.append(more);
    }
  };
  rows.addEventListener("input", grow);
  rows.addEventListener("paste", (event) => {
    const text = event.clipboardData.getData("text");
    if (!/[\n\t]/.test(text.trim())) return;
    event.preventDefault();
    const pasted = document.getElementById("pasted");
    pasted.value = (pasted.value.trimEnd() + "\n" + text).trimStart();
    pasted.focus();
  });
  rows.addEventListener("keydown", (event) => {
    const all = cells();
    const next = all[all.indexOf(event.target) + 1];
    if (event.key === "Enter" && next) {
      event.preventDefault();
      next.focus();
    }
  });
})();
