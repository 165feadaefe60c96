// Makes waiting pleasant; everything works without it.
"use strict";

const said = document.querySelector(".progress");
const say = (text) => { if (said && said.textContent !== text) said.textContent = text; };
// A listener is told every tenth, not every hundredth.
const tenths = (percent) => Math.floor(percent / 10) * 10;

const drop = document.querySelector(".drop");
if (drop) {
  const input = drop.querySelector("input");
  const form = drop.closest("form");
  const button = form.querySelector("button");
  const bar = form.querySelector(".sent");
  for (const kind of ["dragenter", "dragover"]) {
    drop.addEventListener(kind, (event) => { event.preventDefault(); drop.classList.add("over"); });
  }
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    input.files = event.dataTransfer.files;
    say(`${input.files.length} chosen`);
  });

  const ready = () => { button.disabled = false; bar.hidden = true; };
  const send = () => {
    const request = new XMLHttpRequest();
    request.upload.addEventListener("progress", (event) => {
      if (!event.lengthComputable) return;
      const percent = Math.floor((100 * event.loaded) / event.total);
      bar.value = percent;
      say(percent < 100 ? `${tenths(percent)} % sent.` : "Sent. It is being kept.");
    });
    request.addEventListener("load", () => {
      if (request.status === 200) { location.assign(request.responseURL); return; }
      const page = new DOMParser().parseFromString(request.responseText, "text/html");
      const words = Array.from(page.querySelectorAll("main p"), (one) => one.textContent);
      say(words.slice(0, -1).join(" ") || "The page refused it.");
      ready();
    });
    request.addEventListener("error", () => { say("The connection broke off; nothing was kept. Send it again."); ready(); });
    request.open("POST", form.action);
    request.send(new FormData(form));
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    say("The files are being sent.");
    button.disabled = true;
    bar.value = 0;
    bar.hidden = false;
    send();
  });
  addEventListener("pageshow", ready);
}

const busy = document.querySelector("[data-job]");
if (busy) {
  const bar = busy.querySelector("progress");
  const news = new EventSource(`/jobs/${busy.dataset.job}/progress`);
  news.addEventListener("message", (event) => {
    const job = JSON.parse(event.data);
    if (job.state === "waiting") say(job.before ? `Waiting, ${job.before} before it.` : "Waiting.");
    else if (job.state === "running") {
      bar.value = job.percent;
      say(job.percent >= 10 ? `${tenths(job.percent)} % read.` : "Reading has begun.");
    } else {
      news.close();
      location.reload();
    }
  });
  news.addEventListener("error", () => say("The page does not answer just now. It is asked again."));
}
