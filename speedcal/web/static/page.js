// Small help for the pages; every page works without it.
"use strict";

// Times in the zone of the reader.
(() => {
  for (const time of document.querySelectorAll("time[data-show]")) {
    const at = new Date(time.dateTime);
    const written = at.toLocaleString([], time.dataset.show === "day"
      ? { dateStyle: "medium" } : { dateStyle: "medium", timeStyle: "short" });
    time.textContent = written.replace(/\s(?=[AP]M$)/, "\u00a0");
  }
})();

// How far an analysis is: ask now and then, load the page again when it is done.
(() => {
  const note = document.getElementById("progress");
  if (!note) return;
  const step = document.getElementById("progress-step");
  const bar = document.getElementById("progress-bar");
  const ahead = document.getElementById("progress-ahead");
  const ask = async () => {
    try {
      const answer = await fetch(note.dataset.status, { headers: { accept: "application/json" } });
      const state = await answer.json();
      if (answer.ok && !state.active) {
        if (!isTyping()) location.reload();
        else step.textContent = "Done. Reload the page to see the result.";
        return;
      }
      if (answer.ok && step.textContent !== sentence(state.step)) step.textContent = sentence(state.step);
      if (answer.ok) bar.value = state.part;
      if (answer.ok) ahead.textContent = !state.ahead ? "" : state.ahead === 1 ? "1 analysis is before it."
        : `${state.ahead} analyses are before it.`;
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

// A drive is sent from where it was typed: progress is shown, and whatever is refused, nothing typed or chosen is lost.
(() => {
  const form = document.getElementById("drive-form");
  if (!form) return;
  const box = document.getElementById("sending");
  const button = form.querySelector("button:not([type])");
  const say = (text, part) => {
    box.hidden = !text;
    box.querySelector("p").textContent = text;
    box.querySelector("progress").hidden = part === undefined;
    box.querySelector("progress").value = part ?? 0;
  };
  const sentence = (text) => text && text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");
  const unmark = () => {
    for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
    for (const words of form.querySelectorAll(".wrong")) words.remove();
    document.getElementById("refused").replaceChildren();
  };
  const refuse = (told) => {
    say("");
    button.disabled = false;
    const note = document.createElement("div");
    note.className = "note bad";
    note.setAttribute("role", "alert");
    note.tabIndex = -1;
    for (const text of [(told.source ? `${told.source}: ` : "") + sentence(told.text), sentence(told.remedy ?? "")]) {
      if (text) note.append(Object.assign(document.createElement("p"), { textContent: text }));
    }
    if (told.error === "sign_in_first") {
      const way = Object.assign(document.createElement("a"), { href: "/sign-in", target: "_blank", textContent: "Sign in" });
      note.lastChild.replaceChildren(way, " in another tab, then send it again. Everything is still here.");
    }
    document.getElementById("refused").replaceChildren(note);
    const field = told.field && document.getElementById(told.field);
    if (field) {
      const words = Object.assign(document.createElement("span"), { className: "wrong", id: `${field.id}-wrong` });
      words.textContent = [told.text, told.remedy].map((text) => sentence(text ?? "")).join(" ");
      field.before(words);
      field.setAttribute("aria-invalid", "true");
      field.setAttribute("aria-describedby", `${words.id} ${field.id}-hint`);
      for (let fold = field.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    }
    (field || note).focus();
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    unmark();
    button.disabled = true;
    say("Sending.", 0);
    const sender = new XMLHttpRequest();
    sender.open("POST", form.action);
    sender.setRequestHeader("accept", "application/json");
    sender.responseType = "json";
    sender.upload.addEventListener("progress", (sent) => {
      if (sent.lengthComputable) say(`Sending, ${Math.round(100 * sent.loaded / sent.total)} %.`, sent.loaded / sent.total);
    });
    sender.upload.addEventListener("load", () => say("Sent. Waiting for the answer."));
    sender.addEventListener("load", () => {
      const told = sender.response ?? { text: "The answer could not be read", remedy: "Send it again" };
      if (!told.drive) return refuse(told);
      say("Received. You may close this page.");
      location.assign(told.drive);
    });
    sender.addEventListener("error", () => refuse({ text: "There is no connection",
      remedy: "Everything is still here; send it again when there is one" }));
    sender.send(new FormData(form));
  });
  window.addEventListener("pageshow", () => { button.disabled = false; });
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
      const film = file?.type.startsWith("video/") ? " A film of the dial has a page of its own, see below." : "";
      input.setCustomValidity(file && file.size > most ? `This file is larger than ${size} MB.${film}` : "");
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
      more.id = `${more.name}-${number}`;
      for (const mark of ["aria-invalid", "aria-describedby"]) more.removeAttribute(mark);
      more.setAttribute("aria-label", `${name} ${number}`);
      rows.append(more);
    }
  };
  const remember = () => history.replaceState({ rows: cells().map((cell) => cell.value) }, "");
  const typed = history.state?.rows ?? [];
  for (let i = 0; i < typed.length; i += 2) {  // the browser brings back what the page itself had, not what has grown
    if (cells().length < i + 2) grow();
    for (const j of [i, i + 1]) if (cells()[j] && !cells()[j].value) cells()[j].value = typed[j];
  }
  rows.addEventListener("input", () => {
    grow();
    remember();
  });
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

// A link is copied or shared with a short text.
(() => {
  const copied = async (text) => {
    try {
      await navigator.clipboard.writeText(text);
      return true;
    } catch {  // over plain http there is only the old way
      const box = Object.assign(document.createElement("textarea"), { value: text });
      document.body.append(box);
      box.select();
      const worked = document.execCommand("copy");
      box.remove();
      return worked;
    }
  };
  for (const tools of document.querySelectorAll("[data-address]")) {
    const { address, subject, text } = tools.dataset;
    const say = (words) => { tools.querySelector("[role=status]").textContent = words; };
    const copy = tools.querySelector("[data-do=copy]");
    const share = tools.querySelector("[data-do=share]");
    copy.hidden = false;
    share.hidden = !navigator.share;
    copy.addEventListener("click", async () => {
      say(await copied(`${text} ${address}`) ? "Copied." : "This browser does not allow it; mark the address and copy it.");
      copy.focus();
    });
    share.addEventListener("click", () => navigator.share({ title: subject, text, url: address }).catch(() => {}));
  }
})();
