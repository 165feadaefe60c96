// Makes waiting pleasant; everything works without it.
"use strict";

const said = document.querySelector(".progress");
const say = (text) => { if (said && said.textContent !== text) said.textContent = text; };

const drop = document.querySelector(".drop");
if (drop) {
  const input = drop.querySelector("input");
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
  drop.closest("form").addEventListener("submit", (event) => {
    say("The files are being sent. Please wait.");
    event.target.querySelector("button").disabled = true;
  });
  addEventListener("pageshow", () => { drop.closest("form").querySelector("button").disabled = false; });
}

const busy = document.querySelector("[data-job]");
if (busy) {
  const bar = busy.querySelector("progress");
  const look = async () => {
    try {
      const answer = await fetch(`/api/jobs/${busy.dataset.job}`);
      const job = await answer.json();
      if (job.state === "done" || job.state === "failed" || answer.status === 404) {
        location.reload();
        return;
      }
      bar.value = job.percent;
      // A listener is told every tenth, not every second.
      if (job.state === "waiting") say(job.before ? `Waiting, ${job.before} before it.` : "Waiting.");
      else say(job.percent >= 10 ? `${Math.floor(job.percent / 10) * 10} % read.` : "Reading has begun.");
    } catch {
      say("The page does not answer just now. It is asked again.");
    }
    setTimeout(look, 1000);
  };
  setTimeout(look, 500);
}
