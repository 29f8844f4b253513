// The screens by their address: what stands after # in the address line. A part with a colon is handed to the screen.

export const routes = [
  ["", "day"],
  ["visit/:visit", "visit"],
  ["visit/:visit/cautions/:moment", "cautions"],
  ["visit/:visit/people", "people"],
  ["visit/:visit/outcome", "outcome"],
  ["visit/:visit/read", "read"],
  ["visit/:visit/read/:survey", "read_survey"],
  ["visit/:visit/read/:survey/new", "read_trial"],
  ["visit/:visit/read/:survey/rounds", "read_rounds"],
  ["visit/:visit/read/:survey/best", "read_best"],
  ["visit/:visit/read/:survey/hand-in", "read_hand_in"],
  ["visit/:visit/read/:survey/:setup", "read_setup"],
  ["visit/:visit/read/:survey/:setup/:reading", "read_setup"],
  ["visit/:visit/read/:survey/:setup/at/:point", "read_setup"],
  ["visit/:visit/inspect", "inspect"],
  ["visit/:visit/inspect/:thing/:id", "inspect_thing"],
  ["visit/:visit/photos", "photos"],
  ["visit/:visit/hazard", "inspect_hazard"],
  ["visit/:visit/work", "work"],
  ["visit/:visit/load", "visit_load"],
  ["visit/:visit/night", "work_night"],
  ["visit/:visit/handover", "handover"],
  ["visit/:visit/work/:pass", "work_pass"],
  ["visit/:visit/work/:pass/:point", "work_step"],
  ["visit/:visit/straps", "straps"],
  ["visit/:visit/as-left", "as_left"],
  ["sync", "sync"],
  ["settings", "settings"],
];

/** Return the screen of a path with its parameters, or null. */
export function match(path) {
  const parts = path.split("/").filter(Boolean);
  for (const [pattern, screen] of routes) {
    const params = paramsOf(pattern.split("/").filter(Boolean), parts);
    if (params) return { screen, params };
  }
  return null;
}

function paramsOf(wanted, parts) {
  if (wanted.length !== parts.length) return null;
  const params = {};
  for (const [index, name] of wanted.entries()) {
    if (name.startsWith(":")) params[name.slice(1)] = decodeURIComponent(parts[index]);
    else if (name !== parts[index]) return null;
  }
  return params;
}

/** Return the path one step up: the longest beginning of a path that is a screen itself. */
export function above(path) {
  const parts = path.split("/").filter(Boolean);
  while (parts.length) {
    parts.pop();
    if (match(parts.join("/"))) break;
  }
  return parts.join("/");
}
