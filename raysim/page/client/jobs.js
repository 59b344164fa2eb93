// Jobs of the command line as buttons, with how far they are, and the list of results.

import { ask, desk } from "./desk.js";
import { button, make } from "./words.js";

const WHAT = {
  dose: "Work out the timer", linings: "Compare linings", lamps: "Where the lamps should go", shadows: "Find the dark spots",
  hooks: "Try other hooks", meter: "What a meter should read", leak: "Light through the gaps",
  guide: "Write the guide", design: "Design whole boxes from the wish",
};

desk.start = (kind, resume = false) => ask({ do: "job", kind, resume, at: "jobs" });

// The scene that a study found best, as the draft: a step that can be undone.
const take = (result, name) => button(`Take ${name.replace("designs/", "").replace("_", " ")}`, () =>
  ask({ do: "take result", folder: result.name, name, at: "jobs" }), { "aria-label": `Take ${name} of ${result.name} into the draft` });

export function jobForms() {
  const { jobs } = desk;
  if (!jobs) return [];
  const told = [make("p", { class: "hint" }, "The jobs of the command line, on the saved scene. They take minutes; the sketch waits meanwhile. A dose that was stopped can be gone on with.")];
  if (jobs.running) {
    const bar = make("progress", { max: 1, value: jobs.share, "aria-label": `${WHAT[jobs.running]}: ${jobs.what}` });
    told.push(make("p", {}, `${WHAT[jobs.running]}: ${jobs.what}, ${Math.round(100 * jobs.share)} %`), bar, button("Stop", () => ask({ do: "stop" })));
  } else {
    if (jobs.canResume) told.push(button("Go on with the timer", () => desk.start("dose", true)));
    told.push(make("div", { class: "buttons" }, ...jobs.kinds.filter((kind) => kind !== "design" || jobs.wish).map((kind) => button(WHAT[kind], () => desk.start(kind)))));
    if (jobs.status !== null && ![0, 3, 130].includes(jobs.status)) told.push(make("pre", { class: "said", role: "alert" }, jobs.said));
    else if (jobs.status === 130) told.push(make("p", { role: "status" }, `${WHAT[jobs.kind]} was stopped.`));
    else if (jobs.said) told.push(make("details", { open: ["meter", "leak"].includes(jobs.kind) }, make("summary", {}, `What ${jobs.kind} said`), make("pre", {}, jobs.said)));
  }
  const { results } = jobs;
  if (results.length) {
    told.push(make("h4", {}, "Results"));
    if (results.some((one) => one.scenes.length)) told.push(make("p", { class: "hint" }, "What a study found best can be taken into the draft; undo brings yours back. It has no timer before one is worked out for it."));
    told.push(make("ul", { class: "results" }, ...results.map((one) => make("li", {},
      one.page ? make("a", { href: one.page, target: "_blank", rel: "noopener" }, one.name) : one.name,
      ` ${new Date(1000 * one.at).toLocaleString()}, scene ${one.sha256.slice(0, 6)} `, ...one.scenes.map((name) => take(one, name))))));
  }
  return told;
}
