// Records a drive on a phone: positions and speed from the browser, readings from the passenger's taps.
// Everything is written into the browser's own database at once and leaves the phone only when it is sent.
"use strict";

(() => {
  const root = document.getElementById("recorder");
  if (!root) return;
  root.hidden = false;
  const by = (id) => document.getElementById(id);
  const unit = root.dataset.unit;
  const drive = root.dataset.store;
  let database, meta, fixes = 0, taps = [], watch = null, lock = null, timer = null, troubled = false;

  // ---- the browser's database: one store for fixes, one for taps, one for what state the drive is in

  const open = () => new Promise((resolve, reject) => {
    const asked = indexedDB.open("speedcal-recorder", 1);
    asked.onupgradeneeded = () => {
      for (const name of ["fixes", "taps"]) {
        asked.result.createObjectStore(name, { autoIncrement: true }).createIndex("drive", "drive");
      }
      asked.result.createObjectStore("meta", { keyPath: "drive" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => reject(asked.error);
  });
  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const store = (name, mode = "readwrite") => database.transaction(name, mode).objectStore(name);
  const all = (name) => done(store(name, "readonly").index("drive").getAll(drive));
  const count = () => done(store("fixes", "readonly").index("drive").count(drive));
  const keep = (name, value) => done(store(name).add({ drive, ...value }));
  const saveMeta = (changes) => {
    meta = { ...meta, ...changes };
    return done(store("meta").put(meta));
  };
  const clear = async () => {
    for (const name of ["fixes", "taps"]) {
      const keys = await done(store(name, "readonly").index("drive").getAllKeys(drive));
      const target = store(name);
      await Promise.all(keys.map((key) => done(target.delete(key))));
    }
    await done(store("meta").delete(drive));
    if (window.caches) await caches.delete("speedcal-recorder");
  };

  // ---- what the passenger sees

  const say = (text, kind = "") => {
    const box = by("message");
    box.className = "note " + kind;
    box.firstElementChild.textContent = text;
    box.hidden = !text;
  };
  const show = (state) => {
    by("before-start").hidden = state !== "new";
    by("running").hidden = state !== "running";
    by("stopped").hidden = state !== "stopped";
    document.body.classList.toggle("recording", state === "running");
  };
  const dimAtNight = () => {
    const hour = new Date().getHours();
    if (hour >= 19 || hour < 7) by("dark").media = "screen";
  };
  const counted = (count, word) => `${count} ${word}${count === 1 ? "" : "s"}`;
  const refresh = () => {
    const seconds = meta.started ? Math.max(0, Math.floor((Date.now() - meta.started) / 1000)) : 0;
    by("clock").textContent = `${Math.floor(seconds / 60)}:${String(seconds % 60).padStart(2, "0")}`;
    by("fixes").textContent = String(fixes);
    by("count").textContent = String(taps.length);
    by("undo").disabled = !taps.length;
    const last = taps[taps.length - 1];
    by("last").textContent = last
      ? `Reading ${taps.length}: ${last.speed} ${unit} at ${new Date(last.at).toLocaleTimeString()}` : "No reading yet.";
    by("summary").textContent = `${counted(fixes, "GPS point")} and ${counted(taps.length, "reading")} are kept in this browser.`;
  };

  // ---- recording

  const onFix = async (position) => {
    const c = position.coords;
    const fix = { at: position.timestamp, latitude: c.latitude, longitude: c.longitude, speed: c.speed,
      elevation: c.altitude, accuracy: c.accuracy };
    if (meta.state !== "running" || !Number.isFinite(fix.latitude) || fix.at <= (meta.latest ?? 0)) return;
    meta.latest = fix.at;
    try {
      await keep("fixes", fix);
      fixes += 1;
      if (troubled) say("");
      troubled = false;
      refresh();
    } catch {
      say("This phone has no room for more. Stop, send what there is, then carry on.", "bad");
    }
  };
  const onTrouble = async (error) => {
    troubled = true;
    if (error.code === 1) await stopClock();
    say({
      1: "This page may not use your location, and nothing is being recorded. Allow it in the browser's settings for this page, then start again.",
      2: "There is no GPS position right now. Recording continues as soon as there is one.",
      3: "Finding the position takes a while. Give the phone a clear view of the sky.",
    }[error.code] ?? "The position is not available.", error.code === 1 ? "bad" : "care");
  };

  const run = async () => {
    await saveMeta({ state: "running", started: meta.started ?? Date.now() });
    show("running");
    refresh();
    watch = navigator.geolocation.watchPosition(onFix, onTrouble, { enableHighAccuracy: true, maximumAge: 0, timeout: 20000 });
    timer = setInterval(refresh, 1000);
    stayAwake();
  };
  const stayAwake = async () => {
    try {
      lock = await navigator.wakeLock.request("screen");
      by("awake").hidden = true;
    } catch {
      by("awake").hidden = false;  // no such means here, or refused to save the battery
    }
  };
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible" && meta?.state === "running") stayAwake();
  });
  const stopClock = async () => {
    navigator.geolocation.clearWatch(watch);
    clearInterval(timer);
    lock?.release?.();
    const nothing = !fixes && !taps.length;
    await saveMeta(nothing ? { state: "new", started: undefined } : { state: "stopped" });
    show(meta.state);
    refresh();
  };
  const halt = async () => {
    await stopClock();
    (meta.state === "stopped" ? by("send") : by("start")).focus();
  };
  const tap = async (speed, button) => {
    const at = Date.now();
    const key = await keep("taps", { at, speed });
    taps.push({ at, speed, key });
    navigator.vibrate?.(40);
    if (button) {
      button.classList.add("just");
      setTimeout(() => button.classList.remove("just"), 500);
    }
    refresh();
  };

  // ---- the ordinary pair of files

  const stamp = (at) => new Date(at).toISOString();
  const trackFile = (rows) => {
    const points = rows.map((f) => `<trkpt lat="${f.latitude.toFixed(7)}" lon="${f.longitude.toFixed(7)}">` +
      (Number.isFinite(f.elevation) ? `<ele>${f.elevation.toFixed(1)}</ele>` : "") + `<time>${stamp(f.at)}</time>` +
      (Number.isFinite(f.speed) ? `<speed>${f.speed.toFixed(3)}</speed>` : "") + "</trkpt>");
    return `<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.0" creator="speedcal recorder" ` +
      `xmlns="http://www.topografix.com/GPX/1/0">\n<trk><trkseg>\n${points.join("\n")}\n</trkseg></trk>\n</gpx>\n`;
  };
  const readingsFile = (rows) => `time,speed (${unit})\n` + rows.map((t) => `${stamp(t.at)},${t.speed}`).join("\n") + "\n";
  const files = async () => {
    const rows = (await all("fixes")).sort((a, b) => a.at - b.at);
    const day = stamp(meta.started).slice(0, 10);
    return [
      new File([trackFile(rows)], `recorded-${day}.gpx`, { type: "application/gpx+xml" }),
      new File([readingsFile(taps)], `recorded-${day}-readings.csv`, { type: "text/csv" }),
    ];
  };
  const send = async () => {
    by("send").disabled = true;
    say("Sending.");
    try {
      const [track, readings] = await files();
      const form = new FormData();
      form.append("key", meta.key);
      form.append("track", track);
      form.append("readings", readings);
      const answer = await fetch(root.dataset.action, { method: "POST", body: form, headers: { accept: "application/json" } });
      const told = await answer.json();
      if (!answer.ok) {
        say(`${told.text}. ${told.remedy ? told.remedy + ". " : ""}The drive is still on this phone.`, "bad");
        return;
      }
      await clear();
      location.assign(told.drive);
    } catch {
      say("There is no connection. The drive is still on this phone; send it later from this page.", "care");
    } finally {
      by("send").disabled = false;
    }
  };
  const save = async () => {
    for (const file of await files()) {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(file);
      link.download = file.name;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    }
  };

  // Whether a reload without the network brings this page back: the browser is asked for what it has kept of it.
  const testKept = async () => {
    const say = (words, kind) => {
      by("kept").textContent = words;
      by("kept").className = "note " + kind;
    };
    const worker = navigator.serviceWorker;
    const isKept = async (address) => (await fetch(address, { headers: { "x-kept": "only" } })).ok;
    try {
      await worker.register("/recorder-worker.js", { scope: location.pathname });
      await worker.ready;
      const until = Date.now() + 15000;
      let kept = false;
      while (!kept && Date.now() < until) {
        await new Promise((resolve) => setTimeout(resolve, 200));
        if (!worker.controller) continue;
        const parts = [...document.querySelectorAll("link[rel=stylesheet], script[src]")].map((part) => part.href || part.src);
        kept = (await Promise.all([location.href, ...parts].map(isKept))).every(Boolean);
      }
      if (!kept) throw new Error("not kept");
      say("Tested: this page opens without a network too, and a reload loses nothing.", "good");
    } catch {
      say("This browser does not keep this page. Do not close or reload it where there is no network; what is recorded stays on the phone.", "care");
    }
  };

  const start = async () => {
    dimAtNight();
    if (!navigator.geolocation || !window.isSecureContext) {
      say("The position is only available over https. Ask the shop, or record with a GPS program and send the file.", "bad");
      by("passenger").disabled = true;
      return;
    }
    database = await open();
    meta = (await done(store("meta", "readonly").get(drive))) ??
      { drive, state: "new", key: [...crypto.getRandomValues(new Uint8Array(16))].map((b) => b.toString(16).padStart(2, "0")).join("") };
    const kept = await done(store("taps", "readonly").index("drive").getAllKeys(drive));
    taps = (await all("taps")).map((row, i) => ({ ...row, key: kept[i] }));
    fixes = await count();
    testKept();
    navigator.storage?.persist?.();
    if (meta.state === "running") {
      say("Recording continues after the reload.", "good");
      await run();
    } else {
      show(meta.state);
      refresh();
    }
  };

  by("passenger").addEventListener("change", (event) => {
    by("start").disabled = !event.target.checked;
    by("why-not").hidden = event.target.checked;
  });
  by("start").addEventListener("click", run);
  by("resume").addEventListener("click", run);
  by("stop").addEventListener("click", halt);
  by("send").addEventListener("click", send);
  by("save").addEventListener("click", save);
  by("speeds").addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button) tap(Number(button.dataset.speed), button);
  });
  by("note-other").addEventListener("click", () => {
    const speed = Number(by("other").value.replace(",", "."));
    if (!(speed > 0 && speed < 500)) {
      by("other").focus();
      say("Write the speed as a number.", "care");
      return;
    }
    by("other").value = "";
    say("");
    tap(speed);
  });
  by("undo").addEventListener("click", async () => {
    const last = taps.pop();
    if (last) await done(store("taps").delete(last.key));
    refresh();
  });
  by("discard").addEventListener("click", async () => {
    if (!confirm("Throw the recorded drive away for good?")) return;
    await clear();
    location.reload();
  });
  start().catch(() => say("This browser cannot keep a drive (private window?). Use another browser, or a GPS program.", "bad"));
})();
