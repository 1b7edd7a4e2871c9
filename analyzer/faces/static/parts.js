// Puts new parts of a page in the place of the old; what the reader unfolded or reached stays so.

// Returns whether the parts fitted; where a whole section came or went the page is loaded again.
export function put(html, place) {
  const fresh = new DOMParser().parseFromString(html, "text/html");
  if (Boolean(fresh.getElementById("speeds")) !== Boolean(document.getElementById("speeds"))) {
    location.reload();
    return false;
  }
  for (const part of fresh.querySelectorAll("[data-live]")) {
    const old = document.getElementById(part.id);
    if (old) replace(old, part);
    else place.append(part);
  }
  const drag = fresh.getElementById("drag");
  if (drag) Object.assign(document.getElementById("drag").dataset, drag.dataset);
  return true;
}

function replace(old, part) {
  for (const folded of part.querySelectorAll("details[id]")) {
    const before = document.getElementById(folded.id);
    if (before) folded.open = before.open;
  }
  if (old.isEqualNode(part)) return;
  const focused = old.contains(document.activeElement) ? document.activeElement : null;
  const href = focused?.getAttribute("href") ?? null;
  const holder = focused?.closest("[id]")?.id;
  old.replaceWith(part);
  if (!focused) return;
  const again = href
    ? [...part.querySelectorAll("a")].find((link) => link.getAttribute("href") === href)
    : document.getElementById(holder)?.querySelector("summary");
  again?.focus();
}
