// Decides which acts a deed becomes, and how it is undone: the photos named are those on screen.

const ANSWERS = { blank: "Blank", unknown: "Unknown", handler: "Handler" };

// Photos of two windows are two visits to whoever counts: such a join is asked for twice.
const ACROSS = "The next run is not in the same tray window: not joined. Press again to join.";

function speciesName(desk, key) {
  return ANSWERS[key] ?? desk.data.species.find((one) => one.key === key)?.name ?? key;
}

function whereWords(desk, where) {
  return desk.data.where.find(([name]) => name === where)?.[1] ?? "";
}

// Keeps a tag of the run on screen and goes on; asks first where it was, where nobody said so.
function tag(desk, species) {
  if (desk.marking) {
    markReference(desk, species);
    return;
  }
  const run = desk.run;
  const fault = refusal(desk, run);
  if (fault) {
    desk.say(fault);
    return;
  }
  const act = actOf(desk, run, species);
  if (NOBODY.has(species) || act.where) {
    tagRun(desk, run, act);
    return;
  }
  desk.question = { act, run, row: run.row, held: [], note: "" };
  desk.changed();
}

// Goes on from the run that was tagged, unless another is on screen by now.
function tagRun(desk, run, act) {
  keepTags(desk, [[run, act]], "");
  desk.comments.delete(runKey(run));
  desk.person.pace.tagged(Date.now());
  if (desk.run !== run) {
    desk.changed();
  } else if (act.also) {
    Object.assign(desk, { count: 1, sure: true });
    desk.changed();
  } else {
    desk.goOn();
  }
}

function refusal(desk, run) {
  if (!desk.data.who) return "Say who you are first: type your name above. Nothing was tagged.";
  if (!run) return "There is no run on screen: nothing was tagged.";
  if (run.gone) return run.gone;
  if (!run.row) return "The photos are not here yet: nothing was tagged.";
  if (run.row.kind === "untimed") {
    return "This photo has no time, so it belongs to no visit and cannot be tagged.";
  }
  return "";
}

function actOf(desk, run, species, from = "viewer") {
  const nobody = NOBODY.has(species);
  const sheet = from === "quiet sheet";
  return {
    id: newId(),
    do: "tag",
    placement: desk.data.placement,
    first: run.first,
    last: run.last,
    species,
    count: nobody ? null : desk.count,
    where: nobody ? null : desk.where,
    sure: sheet || desk.sure,
    tray: nobody ? "" : desk.tray,
    also: !sheet && desk.also,
    comment: sheet ? "" : desk.comment.trim(),
    from,
  };
}

function actWords(desk, act) {
  const words = [speciesName(desk, act.species)];
  if (act.count) words.push(String(act.count));
  if (act.where) words.push(whereWords(desk, act.where));
  if (act.tray) words.push(`tray ${act.tray}`);
  if (!act.sure) words.push("not sure");
  if (act.comment) words.push(`“${act.comment}”`);
  return words.join(", ");
}

// Hands tags over; `title` names them where one deed makes several.
function keepTags(desk, pairs, title) {
  const [[run, one]] = pairs;
  const place = run.row?.name ?? "";
  const words = title || `${place}: ${actWords(desk, one)}`;
  desk.person.history.did({
    do: "tag",
    placement: desk.data.placement,
    acts: pairs.map(([, act]) => act.id),
    runs: pairs.map(([some]) => [some.first, some.last, some.count]),
    sheet: one.from === "quiet sheet",
    words,
  });
  for (const [some, act] of pairs) {
    const said = actWords(desk, act);
    const about = { name: some.row?.name ?? "", first: act.first, last: act.last };
    desk.said.add(some, recordOf(act, desk.person.who, said, about));
    send(desk, act, said, about);
  }
  desk.status = { words, act: pairs[pairs.length - 1][1].id };
}

function send(desk, act, words, about) {
  const { ticket } = desk.data;
  desk.person.outbox.add(act, { ticket, who: desk.person.name, words, about });
}

function turnBack(desk, deed, back) {
  const act = {
    id: newId(),
    do: back ? "take_back" : "restore",
    acts: deed.acts ?? [],
    numbers: deed.numbers ?? [],
  };
  desk.said.setBack(act, back);
  send(desk, act, deed.words, { runs: deed.runs ?? [] });
  return act.id;
}

// --- undo and redo ---------------------------------------------------------------------------

function undo(desk) {
  const deed = desk.person.history.undo();
  if (!deed) {
    desk.say("There is nothing to undo.");
    return;
  }
  if (deed.do === "reference") putReference(desk, deed, !deed.is);
  else if (deed.do === "take back") deed.undoneBy = turnBack(desk, deed, false);
  else if (deed.acts?.length || deed.numbers?.length) {
    deed.undoneBy = turnBack(desk, deed, deed.do === "tag");
  }
  if (deed.do === "split") uniteAgain(desk, deed);
  if (deed.do === "join") cutAgain(desk, deed);
  desk.person.history.keep(desk.person.history.top);
  showDeed(desk, deed, `Undone: ${deed.words}`, deed.undoneBy);
}

function redo(desk) {
  const deed = desk.person.history.redo();
  if (!deed) {
    desk.say("There is nothing to do again.");
    return;
  }
  const names = deed.acts?.length || deed.numbers?.length;
  if (deed.do === "reference") putReference(desk, deed, deed.is);
  else if (names) deed.redoneBy = turnBack(desk, deed, deed.do !== "tag");
  if (deed.do === "split") cutAgain(desk, deed);
  if (deed.do === "join") uniteAgain(desk, deed);
  desk.person.history.keep(desk.person.history.top - 1);
  showDeed(desk, deed, `Done again: ${deed.words}`, deed.redoneBy);
}

// The list is shaped again where the deed is of the placement on screen; runs that are not in it
// are left alone.
function uniteAgain(desk, deed) {
  if (deed.placement === desk.data.placement) desk.queue.unite(deed.parts);
}

function cutAgain(desk, { placement, whole, parts, counts }) {
  if (placement === desk.data.placement) desk.queue.cut(whole, parts, counts);
}

// Shows what was undone or done again; of another placement it is only said.
function showDeed(desk, deed, words, act = "") {
  if (deed.placement !== desk.data.placement) {
    desk.say(`${words}, on ${deed.placement}`, act);
    return;
  }
  desk.status = { words, act };
  const stands = deed.whole ? standingShape(desk, deed) : deed.runs?.[0];
  if (!stands) {
    desk.changed();
  } else if (desk.data.mode === "sheet" && deed.sheet) {
    desk.openedFrom = null;
    pageOf(desk, stands);
  } else if (desk.data.mode === "sheet" && desk.openedFrom === null) {
    pageOf(desk, stands);
  } else {
    desk.show(...stands);
  }
}

function standingShape(desk, deed) {
  return [deed.whole, ...deed.parts].find(([first, last]) => desk.queue.placeOf(first, last) >= 0);
}

// Takes one tag back that is listed under the run; it is a deed of its own.
function takeBack(desk, tagged) {
  const run = desk.run;
  const deed = {
    do: "take back",
    placement: desk.data.placement,
    acts: tagged.number ? [] : [tagged.act],
    numbers: tagged.number ? [tagged.number] : [],
    runs: [[run.first, run.last, run.count]],
    words: `taken back: ${tagged.words}`,
  };
  desk.person.history.did(deed);
  const act = turnBack(desk, deed, true);
  desk.say(`Taken back: ${tagged.words}`, act);
}

// --- reference photos ------------------------------------------------------------------------

// The next species' key makes the photo on screen a reference of it, or no more one.
function askReference(desk) {
  if (!desk.data.instructor) {
    desk.say("Only an instructor takes reference photos. Tick Instructor above, if you are one.");
  } else if (!desk.shown) {
    desk.say("There is no photo on screen.");
  } else {
    desk.marking = !desk.marking;
    desk.say(desk.marking
      ? "A reference of which species? Press its key; Esc leaves."
      : "No reference was taken.");
  }
}

function markReference(desk, species) {
  const photo = desk.shown;
  desk.marking = false;
  if (!photo) desk.say("There is no photo on screen.");
  else turnReference(desk, photo.id, species, !referencesOf(photo).includes(species));
}

function referencesOf(photo) {
  return (photo.references ?? []).map((one) => one.species);
}

async function turnReference(desk, photo, species, is) {
  const { run } = desk;
  const which = `${run.row.name}, photo ${run.row.photos.findIndex((one) => one.id === photo) + 1}`;
  const name = speciesName(desk, species);
  const words = is ? `${which}: a reference of ${name}` : `${which}: no reference of ${name}`;
  const deed = {
    do: "reference",
    placement: desk.data.placement,
    runs: [[run.first, run.last, run.count]],
    photo,
    species,
    is,
    words,
  };
  if (!(await putReference(desk, deed, is))) return;
  desk.person.history.did(deed);
  desk.say(words);
}

// Gives whether the study has it so.
async function putReference(desk, { photo, species, runs }, is) {
  try {
    await ask("/tagging/reference", desk.data.ticket, { photo, species, is });
    desk.queue.refresh(...runs[0]);
    return true;
  } catch (fault) {
    desk.say(fault instanceof RefusedError ? fault.message : "The connection is lost.");
    return false;
  }
}

// --- splitting and joining -------------------------------------------------------------------

// What was said of the whole would go on holding beside what is said of its parts: it is taken
// back with the deed, and comes again when the deed is undone.
function ownTags(desk, runs) {
  const own = runs.flatMap((run) => desk.said.mine(run));
  return {
    acts: own.filter((one) => !one.number).map((one) => one.act),
    numbers: own.filter((one) => one.number).map((one) => one.number),
  };
}

function split(desk) {
  const { run, photo } = desk;
  const fault = refusal(desk, run);
  if (fault || !photo) {
    desk.say(fault || "Go to the photo that begins the second part first, then split.");
    return;
  }
  const whole = [run.first, run.last];
  const own = ownTags(desk, [run]);
  const name = run.row.name;
  const counts = [photo, run.row.photos.length - photo];
  const parts = desk.queue.split(desk.at, photo);
  shaped(
    desk,
    { do: "split", whole, parts, counts, ...own, words: `${name} split before photo ${photo + 1}` },
  );
  desk.to(desk.at);
}

function shaped(desk, deed) {
  const done = { ...deed, placement: desk.data.placement };
  desk.person.history.did(done);
  const back = done.acts.length + done.numbers.length;
  const act = back ? turnBack(desk, done, true) : "";
  const words = back ? "; what you had said of these photos is taken back" : "";
  desk.status = { words: `${done.words}${words}`, act };
}

// Joins the run with the next in the list, where no other photo lies between them; keys that
// are pressed while this is looked up wait for it.
function join(desk) {
  const [run, next] = desk.queue.runs.slice(desk.at, desk.at + 2);
  const alone = next ? refusal(desk, next) : "There is no next run in this list.";
  const fault = refusal(desk, run) || alone;
  if (fault || desk.joining) {
    desk.say(fault || "A join is being looked up.");
    return;
  }
  desk.joining = [];
  joined(desk, run, next)
    .catch(() => desk.say("The connection is lost: nothing was joined."))
    .finally(() => {
      const waiting = desk.joining;
      desk.joining = null;
      for (const press of waiting) press();
    });
}

async function joined(desk, run, next) {
  const [row] = await desk.queue.rows([[run.first, next.last]]);
  const photos = run.row.photos.length + next.row.photos.length;
  if (row.gone !== undefined || row.photos.length !== photos || row.photos[0].id !== run.first) {
    desk.say(
      "The next run of this list is not the next in time: nothing was joined. " +
        "Show all visits in the order of time.",
    );
    return;
  }
  if (run.row.tray !== next.row.tray && desk.status.words !== ACROSS) {
    desk.joining.length = 0; // keys that were meant for the whole are not for a part of it
    desk.say(ACROSS);
    return;
  }
  const parts = [[run.first, run.last], [next.first, next.last]];
  const own = ownTags(desk, [run, next]);
  const counts = [run.row.photos.length, next.row.photos.length];
  const words = `${run.row.name} joined with ${next.row.name}`;
  const at = desk.queue.unite(parts);
  if (at < 0) return;
  desk.queue.runs[at].row = row;
  shaped(desk, { do: "join", whole: [run.first, next.last], parts, counts, ...own, words });
  desk.to(at);
}

// --- what the study answers ------------------------------------------------------------------

// Notes what the study made of an act; gives the pairs of photos whose rows have to be read anew.
function answered(person, item, done, refused) {
  const { act, about } = item;
  const record = person.said.byAct.get(act.id);
  if (act.do === "tag" && done && record) {
    person.said.numbered(record, done.numbers[0]);
  }
  if (refused) refusedAct(person, item, record);
  return act.do === "tag" ? [[act.first, act.last]] : (about?.runs ?? []);
}

// That the tag was refused which is taken back here is said already.
function isRepeated(person, { act }) {
  return act.do !== "tag" && act.acts.length > 0
    && !act.acts.some((one) => person.said.byAct.has(one));
}

function refusedAct(person, { act }, record) {
  if (act.do === "tag") {
    if (record) person.said.remove(record);
    person.history.forget(act.id);
  } else {
    person.said.setBack(act, act.do !== "take_back");
    person.history.takeBack(act.id);
  }
}
