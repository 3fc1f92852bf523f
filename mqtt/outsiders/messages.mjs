// The golden messages, one for each topic, and the schemas, as the program prints
// them.
import { execFileSync } from "node:child_process";
import { readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { fileURLToPath } from "node:url";

const root = fileURLToPath(new URL("../..", import.meta.url));
const folder = join(root, "testdata/messages");

export const file = (name) => join(root, name);
export const read = (name) => readFileSync(file(name), "utf8");

// topics are all topics that have a golden message.
export const topics = readdirSync(folder, { recursive: true })
  .filter((name) => name.endsWith(".json") && name !== "changes.json")
  .map((name) => name.slice(0, -".json".length).replaceAll("\\", "/"))
  .sort();

export const golden = (topic) => read(`testdata/messages/${topic}.json`);
export const changes = JSON.parse(read("testdata/messages/changes.json"));

// benchtally is what the program prints; it must say nothing else.
export function benchtally(...args) {
  return execFileSync(process.env.BENCHTALLY, args, { encoding: "utf8", stdio: ["ignore", "pipe", "inherit"], maxBuffer: 1 << 26 });
}

// change makes one change to a message: the value that a key gets, or with none
// that the key is taken out.
export function change(message, { path, value }) {
  const all = structuredClone(message);
  const at = path.slice(0, -1).reduce((o, key) => o[key], all);
  if (value === undefined) {
    delete at[path.at(-1)];
  } else {
    at[path.at(-1)] = value;
  }
  return all;
}
