// The sheets' write-in panels of a photo, enlarged, with what the desk says of them: whether anything is written there.

export async function showPanel(place, address, says, without) {
  const reply = await fetch(address, { credentials: "same-origin" }).catch(() => null);
  if (!reply?.ok || reply.status === 204) {
    says.textContent = without;
    return;
  }
  says.textContent = reply.headers.get("x-panel-says") || "The sheets' write-in panels, enlarged.";
  const image = new Image();
  image.alt = `The sheets' write-in panels, enlarged. ${says.textContent}`;
  image.className = "panel";
  image.src = URL.createObjectURL(await reply.blob());
  if (reply.headers.get("x-panel-written") === "no" && place.localName !== "details") {
    const folded = document.createElement("details");
    folded.append(Object.assign(document.createElement("summary"), { textContent: "Show where the writing would stand" }), image);
    place.append(folded);
  } else place.append(image);
}
