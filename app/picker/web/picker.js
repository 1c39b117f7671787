// Decides how the photos to choose from stand on the page; which there are is the page's matter.

export default function picker({ data, parentElement, setTriggerValue }) {
  const place = parentElement.querySelector(".lastbite-picks");
  const focused = place.getRootNode().activeElement?.dataset?.photo;
  const group = document.createElement("div");
  group.setAttribute("role", "group");
  group.setAttribute("aria-label", data.label);
  group.className = "picks";
  for (const pick of data.picks) {
    const button = document.createElement("button");
    button.type = "button";
    button.dataset.photo = pick.photo;
    button.setAttribute("aria-pressed", String(pick.photo === data.chosen));
    const picture = document.createElement("img");
    picture.src = pick.address;
    picture.alt = pick.alt;
    picture.loading = "lazy";
    const caption = document.createElement("span");
    caption.textContent = pick.caption;
    button.append(picture, caption);
    button.addEventListener("click", () => setTriggerValue("picked", pick.photo));
    group.append(button);
  }
  place.replaceChildren(group);
  if (focused) place.querySelector(`[data-photo="${CSS.escape(focused)}"]`)?.focus();
}
