// Reads each .ics file of a folder with ical.js in its strict mode; one line of JSON a file: what was understood of it.
// node accept.mjs FOLDER_OF_ICAL_JS FOLDER
import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { pathToFileURL } from "node:url";

const [packed, folder] = process.argv.slice(2);
const { default: ICAL } = await import(pathToFileURL(join(packed, "dist", "ical.js")).href);
ICAL.design.strict = true;

for (const name of readdirSync(folder).filter(one => one.endsWith(".ics")).sort()) {
  const told = { file: name, parts: [] };
  try {
    const calendar = new ICAL.Component(ICAL.parse(readFileSync(join(folder, name), "utf8")));
    for (const kind of ["vevent", "vtodo"]) {
      for (const part of calendar.getAllSubcomponents(kind)) {
        const event = new ICAL.Event(part);
        if (kind === "vevent" && event.endDate.compare(event.startDate) <= 0) throw new Error(`${event.uid} ends before it starts`);
        for (const alarm of part.getAllSubcomponents("valarm")) {
          const trigger = alarm.getFirstPropertyValue("trigger");
          if (trigger.zone !== ICAL.Timezone.utcTimezone) throw new Error(`${event.uid} has an alarm at no instant in UTC`);
        }
        told.parts.push([event.uid, event.summary, event.description]);
      }
    }
  } catch (error) { told.error = String(error); }
  console.log(JSON.stringify(told));
}
