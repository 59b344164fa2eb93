// Jobs of the command line as buttons, with how far they are, and the list of results.

import { ask, desk } from "./desk.js";
import { button, make } from "./words.js";

const WHAT = {
  dose: "Work out the timer", linings: "Compare linings", shadows: "Find the dark spots",
  hooks: "Try other hooks", meter: "What a meter should read", leak: "Light through the gaps",
  guide: "Write the guide",
};

desk.start = (kind, resume = false) => ask({ do: "job", kind, resume, at: "jobs" });

export function jobForms() {
  const { jobs } = desk;
  if (!jobs) return [];
  const told = [make("p", { class: "hint" }, "The jobs of the command line, on the saved scene. They take minutes; the sketch waits meanwhile. A dose that was stopped can be gone on with.")];
  if (jobs.running) {
    const bar = make("progress", { max: 1, value: jobs.share, "aria-label": `${WHAT[jobs.running]}: ${jobs.what}` });
    told.push(make("p", {}, `${WHAT[jobs.running]}: ${jobs.what}, ${Math.round(100 * jobs.share)} %`), bar, button("Stop", () => ask({ do: "stop" })));
  } else {
    if (jobs.canResume) told.push(button("Go on with the timer", () => desk.start("dose", true)));
    told.push(make("div", { class: "buttons" }, ...jobs.kinds.map((kind) => button(WHAT[kind], () => desk.start(kind)))));
    if (jobs.status !== null && ![0, 3, 130].includes(jobs.status)) told.push(make("pre", { class: "said", role: "alert" }, jobs.said));
    else if (jobs.status === 130) told.push(make("p", { role: "status" }, `${WHAT[jobs.kind]} was stopped.`));
    else if (jobs.said) told.push(make("details", { open: ["meter", "leak"].includes(jobs.kind) }, make("summary", {}, `What ${jobs.kind} said`), make("pre", {}, jobs.said)));
  }
  const { results } = jobs;
  if (results.length) {
    told.push(make("h4", {}, "Results"), make("ul", { class: "results" }, ...results.map((one) => make("li", {},
      one.page ? make("a", { href: one.page, target: "_blank", rel: "noopener" }, one.name) : one.name,
      ` ${new Date(1000 * one.at).toLocaleString()}, scene ${one.sha256.slice(0, 6)}`))));
  }
  return told;
}
