// Two things that pages cannot do without a script: files dropped anywhere, and the
// values along a curve. Everything else works without.
"use strict";

// Files: the whole page takes them, and the progress of the way is shown.
for (const form of document.querySelectorAll("form[data-drop]")) {
  const input = form.querySelector("input[type=file]");
  const line = form.querySelector("[data-progress]");
  form.querySelector("[data-hint]").hidden = false;
  const send = (files) => {
    const all = Array.from(files).reduce((n, f) => n + f.size, 0);
    if (all > Number(form.dataset.most)) {
      line.hidden = false;
      line.querySelector("span").textContent = "That is more than 100 MB, and nothing was sent. Export fewer cycles at a time.";
      return;
    }
    const data = new FormData();
    for (const f of files) data.append("file", f, f.name);
    const ask = new XMLHttpRequest();
    const bar = line.querySelector("progress"), text = line.querySelector("span");
    line.hidden = false;
    text.textContent = "sending";
    ask.upload.onprogress = (e) => {
      if (e.lengthComputable) bar.value = 100 * e.loaded / e.total;
      if (e.loaded === e.total) text.textContent = "judging";
    };
    ask.onload = () => {
      if (ask.status === 200 && ask.responseURL) {
        location.assign(ask.responseURL);
      } else {
        const page = new DOMParser().parseFromString(ask.responseText, "text/html");
        const why = page.querySelector(".alert");
        text.textContent = why ? why.textContent : "That could not be done. Try again.";
        text.setAttribute("role", "alert");
      }
    };
    ask.onerror = () => {
      text.textContent = "The desk does not answer. Look whether the program still runs, then try again.";
      text.setAttribute("role", "alert");
    };
    ask.open("POST", form.action);
    ask.send(data);
  };
  form.addEventListener("submit", (e) => {
    if (input.files.length) {
      e.preventDefault();
      send(input.files);
    }
  });
  const holds = (e) => e.dataTransfer && Array.from(e.dataTransfer.types).includes("Files");
  addEventListener("dragover", (e) => {
    if (!holds(e)) return;
    e.preventDefault();
    document.body.classList.add("dropping");
  });
  addEventListener("dragleave", (e) => {
    if (!e.relatedTarget) document.body.classList.remove("dropping");
  });
  addEventListener("drop", (e) => {
    if (!holds(e)) return;
    e.preventDefault();
    document.body.classList.remove("dropping");
    send(e.dataTransfer.files);
  });
}

// Decisions: only the fields that the choice needs are shown.
for (const form of document.querySelectorAll("form[data-decide]")) {
  const fit = () => {
    const chosen = form.querySelector("input[name=do]:checked");
    for (const part of form.querySelectorAll("[data-for]")) {
      part.hidden = !(chosen && part.dataset.for in chosen.dataset);
    }
    // Of the reasons only those of the choice.
    for (const some of form.querySelectorAll("optgroup[data-of]")) {
      some.hidden = some.disabled = Boolean(chosen) && some.dataset.of !== chosen.value;
    }
    // Where a reason is asked for, its fields stand open.
    const why = form.querySelector("[data-open-for]");
    if (why && chosen && why.dataset.openFor in chosen.dataset) why.open = true;
  };
  form.addEventListener("change", fit);
  fit();
}

// The curve: a slider over time. The box tells where the axes lie.
for (const box of document.querySelectorAll("[data-readout]")) {
  const svg = box.querySelector("svg");
  if (!svg || !svg.dataset.plot) continue;
  const [x, , w] = svg.dataset.plot.split(" ").map(Number);
  const from = Number(svg.dataset.from), to = Number(svg.dataset.to);
  const wide = svg.viewBox.baseVal.width;
  const out = document.querySelector("[data-values]");
  const hair = document.createElement("div");
  hair.className = "hair";
  hair.hidden = true;
  box.append(hair);
  let read = null, asked = false, at = 0;
  const start = box.dataset.start.match(/T(\d+):(\d+):(\d+)/).slice(1).map(Number);
  const clock = (s) => {
    const all = (start[0] * 3600 + start[1] * 60 + start[2] + Math.floor(s)) % 86400;
    return [all / 3600, all / 60 % 60, all % 60].map((n) => String(Math.floor(n)).padStart(2, "0")).join(":");
  };
  const show = () => {
    if (!read || !read.seconds) return;
    at = Math.max(0, Math.min(read.seconds.length - 1, at));
    const s = read.seconds[at];
    const words = clock(s) + " · " + read.lines.map((l) =>
      l.name + " " + (l.values[at] === null ? "none" : l.values[at].toFixed(1) + " " + l.unit)).join(" · ");
    out.textContent = words;
    box.setAttribute("aria-valuenow", String(Math.round(s)));
    box.setAttribute("aria-valuetext", words);
    hair.hidden = false;
    hair.style.left = (svg.clientWidth * (x + w * (s - from) / (to - from)) / wide) + "px";
  };
  const need = () => {
    if (asked) return;
    asked = true;
    fetch(box.dataset.readout).then((r) => r.ok ? r.json() : null).then((j) => {
      read = j;
      if (j && j.seconds) {
        box.setAttribute("aria-valuemax", String(Math.round(j.seconds[j.seconds.length - 1])));
        show();
      }
    });
  };
  out.hidden = false;
  box.tabIndex = 0;
  box.setAttribute("role", "slider");
  box.setAttribute("aria-label", "Time on the curve");
  box.setAttribute("aria-valuemin", "0");
  box.setAttribute("aria-valuemax", String(Math.round(to)));
  box.setAttribute("aria-valuenow", "0");
  box.setAttribute("aria-valuetext", "Press an arrow key to read the values");
  box.addEventListener("focus", need);
  box.addEventListener("pointermove", (e) => {
    need();
    if (!read || !read.seconds) return;
    const r = svg.getBoundingClientRect();
    const s = from + (to - from) * ((e.clientX - r.left) / r.width * wide - x) / w;
    let lo = 0, hi = read.seconds.length - 1;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if (read.seconds[mid] < s) lo = mid + 1; else hi = mid;
    }
    at = lo;
    show();
  });
  box.addEventListener("keydown", (e) => {
    const step = {ArrowRight: 1, ArrowLeft: -1, ArrowUp: 1, ArrowDown: -1, PageUp: 30, PageDown: -30}[e.key];
    if (e.key === "Home") at = 0;
    else if (e.key === "End" && read) at = read.seconds.length - 1;
    else if (step) at += step * (e.shiftKey ? 10 : 1);
    else return;
    e.preventDefault();
    need();
    show();
  });
}
