// What can be chosen: linings with what they do at 254 nm, lamps by what is printed on them.

import { desk } from "./desk.js";

const percent = (share) => `${Math.round(100 * share)} %`;

// Options of a choice of surfaces; those for walls alone unless all are asked for.
export function linings(all = false) {
  const own = (desk.doc.rows.raw.surface || []).filter((one) => one.name).map((one) => [one.name, `${one.name} (of this scene)`]);
  const known = (desk.offers?.surfaces || []).filter((one) => all || one.lining);
  const told = [...known].sort((a, b) => b.share - a.share)
    .map((one) => [one.name, `${one.name}: ${percent(one.share)}${one.bright ? ", looks bright, is black at 254 nm" : ""}`]);
  return [...own, ...told];
}

export function surfaceWords(name) {
  const found = (desk.offers?.surfaces || []).find((one) => one.name === name);
  if (found) return `${found.name} ${found.says}.`;
  return typeof name === "string" ? `“${name}” is a surface of this scene.` : "A surface of your own.";
}

export const lampKinds = () => (desk.offers?.lamps || []).map((one) => [one.name, `${one.name}: ${one.table.uvc} of UVC`]);

export const lampKind = (name) => desk.offers.lamps.find((one) => one.name === name);

// Meshes in the scene's folder, and those that the scene names.
export function meshes() {
  const named = (desk.doc.rows.raw.object || []).map((one) => one.mesh);
  return [...new Set([...named, ...(desk.offers?.meshes || [])])].map((one) => [one, one.split("/").pop()]);
}
