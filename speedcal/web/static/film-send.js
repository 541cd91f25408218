// Sends a film piece by piece. What arrived is not sent again, neither after a broken line nor after a reload.
"use strict";

(() => {
  const form = document.getElementById("film-form");
  if (!form) return;
  const input = document.getElementById("film");
  const button = form.querySelector("button");
  const bar = document.getElementById("sent");
  const box = document.getElementById("sending");
  const refused = document.getElementById("refused");
  const most = Number(form.dataset.most);
  const ENDS = 262144, LONGEST_WAIT_S = 30;
  let isSending = false, lock = null;

  const say = (text) => {
    box.hidden = !text;
    box.firstElementChild.textContent = text;
  };
  const sentence = (text) => text && text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? "" : ".");
  const megabytes = (bytes) => `${Math.round(bytes / 1e6)} MB`;
  const pause = (seconds) => new Promise((resolve) => setTimeout(resolve, 1000 * seconds));

  const refuse = (told) => {
    const note = Object.assign(document.createElement("div"), { className: "note bad", tabIndex: -1 });
    note.setAttribute("role", "alert");
    for (const text of [told.text, told.remedy]) {
      if (text) note.append(Object.assign(document.createElement("p"), { textContent: sentence(text) }));
    }
    if (told.error === "sign_in_first") {
      const way = Object.assign(document.createElement("a"), { href: "/sign-in", target: "_blank", textContent: "Sign in" });
      note.append(way, " in another tab, then go on here.");
    }
    refused.replaceChildren(note);
    note.focus();
  };

  // The size and a check sum (CRC-32) of both ends tell whether it is the same film.
  const sum = async (blob) => {
    let crc = ~0;
    for (const byte of new Uint8Array(await blob.arrayBuffer())) {
      crc ^= byte;
      for (let bit = 0; bit < 8; bit++) crc = (crc >>> 1) ^ (0xedb88320 & -(crc & 1));
    }
    return (~crc >>> 0).toString(16).padStart(8, "0");
  };
  const printOf = async (file) =>
    `${file.size.toString(16)}-${await sum(file.slice(0, ENDS))}-${await sum(file.slice(-ENDS))}`;

  const post = (address, fields, onProgress) => new Promise((resolve, reject) => {
    const body = new FormData();
    for (const [name, value] of Object.entries(fields)) body.append(name, value);
    const sender = new XMLHttpRequest();
    sender.open("POST", address);
    sender.setRequestHeader("accept", "application/json");
    sender.responseType = "json";
    if (onProgress) sender.upload.addEventListener("progress", (event) => onProgress(event.loaded));
    sender.addEventListener("load", () => {
      const told = sender.response ?? {};
      if (told.film) resolve(told);
      else reject(Object.assign(new Error(), { told, isPassing: [0, 408, 502, 503, 504].includes(sender.status) }));
    });
    sender.addEventListener("error", () => reject(Object.assign(new Error(), { told: {}, isPassing: true })));
    sender.send(body);
  });

  const show = (arrived, size) => {
    bar.hidden = false;
    bar.value = arrived / size;
    say(`Sending: ${megabytes(arrived)} of ${megabytes(size)}, ${Math.floor(100 * arrived / size)} %.`);
  };

  const sendAll = async (file) => {
    const print = await printOf(file);
    const drive = form.elements.drive.value;
    const announce = () => post(form.action, { name: file.name, size: file.size, print, drive });
    let state = null, wait = 1;
    while (!state || state.arrived < file.size) {
      try {
        state = state ?? await announce();
        if (state.arrived >= file.size) break;
        const at = state.arrived;
        show(at, file.size);
        const piece = new File([file.slice(at, at + state.piece)], "piece");
        state = await post(`${state.film}/pieces`, { at, piece },
          (sent) => show(Math.min(at + sent, file.size), file.size));
        wait = 1;
      } catch (error) {
        if (!error.isPassing) throw error;
        say(`${sentence(error.told?.text ?? "There is no connection")} It goes on by itself in ${wait} s.`);
        await pause(wait);
        wait = Math.min(2 * wait, LONGEST_WAIT_S);
        state = null;  // ask anew how much is there
      }
    }
    return state.film;
  };

  const stayAwake = async () => {
    try {
      lock = await navigator.wakeLock?.request("screen") ?? null;
    } catch {
      lock = null;
    }
  };

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const file = input.files[0];
    if (!file) return;
    refused.replaceChildren();
    if (file.size > most) return refuse({ text: `This film is larger than ${Math.floor(most / 2 ** 30)} GB`,
      remedy: "Cut it down to the drive, or film in 1080p" });
    button.disabled = isSending = true;
    say("Looking at the film.");
    await stayAwake();
    try {
      const film = await sendAll(file);
      isSending = false;
      say("The film is here.");
      location.assign(film);
      if (location.pathname === film) location.reload();
    } catch (error) {
      say("");
      refuse(error.told ?? { text: "The film cannot be read from this device", remedy: "Choose it again" });
    } finally {
      lock?.release();
      button.disabled = isSending = false;
    }
  });
  window.addEventListener("beforeunload", (event) => {
    if (isSending) event.preventDefault();
  });
})();
