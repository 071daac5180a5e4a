// Elements used by every view.

/** An element with attributes (functions are listeners, `true` is an empty attribute, `false` none) and children. */
export function h(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (typeof value === "function") element.addEventListener(name, value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value != null) element.setAttribute(name, value);
  }
  element.append(...children.filter(child => child != null));
  return element;
}

/** A button large enough for a thumb. */
export const button = (text, click, attributes = {}) => h("button", { type: "button", click, ...attributes }, text);

/** A button that opens files, and passes them on as a list. */
export function chooser(text, chosen, attributes = {}) {
  const input = h("input", {
    type: "file",
    class: "file",
    change: () => {
      const files = [...input.files];
      input.value = "";
      if (files.length > 0) chosen(files);
    },
    ...attributes,
  });
  return h("label", { class: "button" }, text, input);
}

/** A check box. */
export function tick(text, attributes = {}) {
  const input = h("input", { type: "checkbox", ...attributes });
  return Object.assign(h("label", { class: "tick" }, input, h("span", {}, text)), { input });
}

/** A line that screen readers announce when it changes; an error is brought into view. */
export function line(kind = "status") {
  const element = h("p", { class: `line ${kind}`, role: kind === "error" ? "alert" : "status" });
  const say = text => {
    element.textContent = text ?? "";
    if (text && kind === "error") element.scrollIntoView({ block: "nearest" });
  };
  return Object.assign(element, { say });
}

/** Passes a file to the browser's downloads. */
export function download(name, content, type) {
  const url = URL.createObjectURL(new Blob([content], { type }));
  const link = h("a", { href: url, download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** Passes files to another app; where the browser shares no files, a text. Returns whether they were, or the user changed their mind. */
export async function shareFiles(files, title, text) {
  try {
    await navigator.share(navigator.canShare?.({ files }) ? { files, title } : { title, text });
    return true;
  } catch (error) {
    return error.name === "AbortError";
  }
}

/** A name valid on every file system. */
export const fileName = text => text.replace(/[^\p{L}\p{N} ._()+-]/gu, "_").trim() || "line check";

/**
 * The body of a page written by the report, as elements of this document. Its colours come from `report.css`, because the policy
 * forbids inline styles; styles of single elements are set through the object model.
 */
export function reportBody(html) {
  const bare = html.replace(/<style>[\s\S]*?<\/style>/, "").replaceAll(" style=\"", " data-style=\"")
    // The surrounding view is the document's main part.
    .replace("<main ", "<div ").replace("</main>", "</div>");
  const parsed = new DOMParser().parseFromString(bare, "text/html");
  const body = document.createDocumentFragment();
  for (const node of [...parsed.body.childNodes]) {
    if (node.nodeName !== "SCRIPT") body.append(document.importNode(node, true));
  }
  for (const element of body.querySelectorAll("[data-style]")) {
    element.style.cssText = element.dataset.style;
    element.removeAttribute("data-style");
  }
  return body;
}
