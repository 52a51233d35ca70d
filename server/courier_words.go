package server

import (
	"encoding/json"

	"example.org/asfound/language"
)

// courierWords is every sentence that the scripts say, each whole. {1} and {2}
// stand for values. A sentence about a number has a form for one.
var courierWords = map[string]string{
	"waitsOne":      "One entry waits on this phone to be sent. It was made {1} ago.",
	"waitsMany":     "{1} entries wait on this phone to be sent. The oldest was made {2} ago.",
	"warn":          "It has waited for more than a day: find a signal soon.",
	"loud":          "It has waited for more than five days. Some phones clear what a page keeps after seven. Send it now, or copy it onto paper.",
	"refusedOne":    "The registry has refused one entry. It is still on this phone.",
	"refusedMany":   "The registry has refused {1} entries. They are still on this phone.",
	"sending":       "Sending {1} of {2}: {3} %. You may leave this page: it is kept on this phone until the registry has it.",
	"sentOne":       "Sent and recorded: {1}.",
	"sentMany":      "{1} entries were sent and recorded.",
	"later":         "Not sent: {1} It is kept on this phone and is tried again.",
	"noSignal":      "The registry cannot be reached.",
	"stalled":       "The line stood still.",
	"busy":          "The registry cannot record just now.",
	"noYes":         "Something answered that is not the registry. Open a page of the registry, and sign in there if it asks.",
	"noReason":      "The registry does not say why. Lay it beside the record, or open the page.",
	"stored":        "Kept on this phone: {1}. It is sent when there is a signal.",
	"noRoom":        "This browser has no room to keep it, so it is sent at once. Delete pictures from the phone to make room.",
	"noStore":       "This browser keeps nothing, perhaps because the window is private. Every form is sent at once.",
	"atOnce":        "The connection is not secure, so this browser keeps nothing: pictures and forms are sent at once.",
	"copy":          "This page is the copy that was kept on this phone at {1}. The record may have moved on since.",
	"sendNow":       "Send now",
	"seeWaiting":    "See what waits",
	"keep":          "Keep on this phone",
	"keepAgain":     "Keep it again as it is now",
	"keeping":       "Keeping page {1} of {2}.",
	"kept":          "Kept on this phone at {1}: {2} pages of this machine, which open with no signal.",
	"keptSome":      "Kept on this phone at {1}: {2} pages of this machine. {3} could not be had.",
	"noRoomPages":   "This browser has no room for them. Delete pictures from the phone to make room.",
	"keepFailed":    "Not kept: {1}",
	"leaving":       "Entries on this phone that are not sent yet: {1}. They stay here and are sent when you sign in again on it. The kept pages are removed. Sign out?",
	"nothingWaits":  "Nothing waits. What was recorded here has reached the registry.",
	"nothingKept":   "No machine is kept on this phone. Its work page and its cards have a button for that.",
	"keptMachine":   "Kept at {1}.",
	"remove":        "Remove from this phone",
	"state_waiting": "waits to be sent",
	"state_held":    "waits for an entry before it about the same thing",
	"state_refused": "refused",
	"recorded":      "Recorded here",
	"made":          "{1}, {2} ago",
	"madeOn":        "{1} for {2}, {3} ago",
	"files":         "Files",
	"file":          "{1}, {2}",
	"show":          "View what it says",
	"retry":         "Send it now",
	"again":         "Send it again",
	"correction":    "Send mine as a correction",
	"edit":          "Edit mine",
	"theirs":        "Keep theirs and delete mine",
	"remove1":       "Delete",
	"sure":          "Delete it for good? It is nowhere else.",
	"sureYes":       "Yes, delete it",
	"sureNo":        "No, leave it",
	"why":           "Why it was refused",
	"compare":       "Both side by side",
	"field":         "Field",
	"mine":          "On this phone",
	"record":        "In the record now",
	"differs":       "differs",
	"empty":         "nothing",
	"noCompare":     "The record cannot be read without a signal, so it is not shown beside yours.",
	"openRecord":    "See the page as it stands now",
	"filled":        "This form is filled in with what waits on this phone. What waits is replaced when you send it.",
	"minute":        "less than a minute",
	"minutes":       "{1} min",
	"hours":         "{1} h",
	"days":          "{1} days",
	"bytes":         "{1} bytes",
	"kB":            "{1} kB",
	"MB":            "{1} MB",
}

// wordsName is the file of the scripts' sentences in a language.
func wordsName(l *language.Language) string { return "words." + l.Tag + ".js" }

// wordsScript puts the sentences where the scripts find them.
func wordsScript(l *language.Language) []byte {
	said := map[string]string{}
	for name, text := range courierWords {
		said[name] = l.Text(text)
	}
	body, err := json.Marshal(said)
	if err != nil {
		panic(err) // strings can always be written
	}
	return append(append([]byte("globalThis.asfoundWords = "), body...), ";\n"...)
}
