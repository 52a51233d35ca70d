package server

import (
	"maps"
	"mime"
	"net/http"
	"reflect"
	"slices"
	"strings"

	"github.com/go-chi/chi/v5"
	"github.com/go-chi/chi/v5/middleware"

	"example.org/asfound/exchange"
	"example.org/asfound/registry"
	"example.org/asfound/scoring"
	"example.org/asfound/workshop"
)

// route is one row of the table from which both the router and the OpenAPI
// document are made.
type route struct {
	method, pattern string
	do              handler
	takes           string // media type of the body, "" when there is none
	limit           int64  // of the body, in bytes
	once            bool   // a repeated key gets the first answer again
	api             *operation
}

// operation describes a route to programs.
type operation struct {
	id, tag, summary string
	query            []parameter
	needsVersion     bool         // If-Match
	takesKey         bool         // Idempotency-Key
	body             reflect.Type // of a JSON body; nil for others
	bodySchema       map[string]any
	example          string // of the body
	answers          reflect.Type
	answerType       string // media type of the answer, JSON when empty
	status           int    // of success, 200 when 0
	tagged           bool   // carries an ETag
	problems         []registry.Code
}

// parameter is one parameter of a query.
type parameter struct{ name, kind, about string }

const (
	jsonType      = "application/json"
	formType      = "application/x-www-form-urlencoded"
	multipartType = "multipart/form-data"
	formLimit     = 1 << 20
	jsonLimit     = 4 << 20
)

var (
	editionQuery = []parameter{
		{"as_of", "string", "The machine as it stood on this day, such as 1971-06-30."},
		{"known_at", "string", "Only what had been recorded by the end of this day."},
		{"public", "boolean", "The public edition: names and numbers masked, withheld pictures left out."}}
	fileQuery = []parameter{{"edition", "string", "public or private; private when left out."}}
)

func typeOf[T any]() reflect.Type { return reflect.TypeFor[T]() }

// routes is the whole table.
func routes() []route {
	page := func(pattern string, do handler) route { return route{method: http.MethodGet, pattern: pattern, do: do} }
	form := func(pattern string, do handler) route {
		return route{method: http.MethodPost, pattern: pattern, do: do, takes: formType, limit: formLimit, once: true}
	}
	// An act on people is not kept under a key: its answer may hold a secret.
	act := func(pattern string, do handler) route {
		return route{method: http.MethodPost, pattern: pattern, do: do, takes: formType, limit: formLimit}
	}
	upload := func(pattern string, limit int64, do handler) route {
		return route{method: http.MethodPost, pattern: pattern, do: do, takes: multipartType, limit: limit}
	}
	// What a phone may keep and send again is done once a key. Its handler finds
	// the form parsed.
	again := func(rt route) route { rt.once = true; return rt }
	get := func(pattern string, do handler, op operation) route {
		return route{method: http.MethodGet, pattern: "/api/v1" + pattern, do: do, api: &op}
	}
	post := func(pattern string, do handler, op operation) route {
		op.takesKey = true
		return route{method: http.MethodPost, pattern: "/api/v1" + pattern, do: do, takes: jsonType, limit: jsonLimit, once: true, api: &op}
	}
	return []route{
		page("/", pageMachines),
		page("/take-in", pageTakeInForm),
		form("/take-in", pageTakeInPost),
		page("/import", pageImportForm),
		upload("/import", maxSheet+1<<20, pageImportPost),
		page("/import/rejected/{file}", pageRejected),
		page("/survivors", pageSurvivors),
		{method: http.MethodPost, pattern: "/survivors", do: pageSurvivorsPost, takes: formType, limit: formLimit},
		page("/import/mappings", pageMappings),
		form("/import/mappings", pageMappingPost),
		form("/import/mappings/remove", pageMappingRemove),

		page("/bench", pageBenchIndex),
		page("/bench/table", pageBenchTable),
		page("/bench/card", pageBenchCard),
		upload("/bench/card", workshop.MaxPhotoBytes+1<<20, pageBenchCardPost),
		form("/bench/attach", pageBenchAttach),
		page("/bench/{kind}", pageBench),
		{method: http.MethodPost, pattern: "/bench/{kind}", do: pageBenchPost, takes: formType, limit: formLimit},

		page("/machines/{id}", pageMachine),
		page("/machines/{id}/drawing", pageDrawing),
		page("/machines/{id}/groups/{group}", pageGroup),
		page("/machines/{id}/components/{component}", pageComponent),
		page("/machines/{id}/components/{component}/test", pageTestWorth),
		page("/machines/{id}/survey", pageSurvey),
		page("/machines/{id}/survey/pictures/{n}", pageSurveyPicture),
		again(upload("/machines/{id}/survey/pictures/{n}", surveyUpload, pageSurveyPicturePost)),
		form("/machines/{id}/survey/undo", pageSurveyUndo),
		page("/machines/{id}/survey/{component}", pageSurveyStop),
		again(upload("/machines/{id}/survey/{component}", surveyUpload, pageSurveyStopPost)),
		page("/machines/{id}/seal", pageSealForm),
		form("/machines/{id}/seal", pageSealPost),
		page("/machines/{id}/options", pageOptions),
		form("/machines/{id}/options", pageWeigh),
		page("/machines/{id}/faults", pageFaults),
		form("/machines/{id}/faults", pageFaultAdd),
		page("/machines/{id}/faults/{fault}", pageFault),
		form("/machines/{id}/faults/{fault}/findings", pageFinding),
		form("/machines/{id}/faults/{fault}/undo", pageFindingUndo),
		form("/machines/{id}/faults/{fault}/options", pageDrafts),
		page("/machines/{id}/faults/{fault}/leaving", pageLeavingForm),
		form("/machines/{id}/faults/{fault}/leaving", pageLeavingPost),
		page("/machines/{id}/options/{option}/risk", pageRiskForm),
		form("/machines/{id}/options/{option}/risk", pageRiskPost),
		page("/machines/{id}/parts", pageParts),
		form("/machines/{id}/parts", pagePartsPost),
		page("/machines/{id}/plan", pagePlan),
		page("/machines/{id}/value", pageValue),
		page("/machines/{id}/criteria", pageCriteria),
		page("/machines/{id}/propose", pageProposeForm),
		form("/machines/{id}/propose", pagePropose),
		page("/machines/{id}/proposals/{proposal}", pageProposal),
		page("/machines/{id}/work", pageWork),
		page("/machines/{id}/work/entry", pageWorkForm),
		form("/machines/{id}/work/entry", pageWorkPost),
		page("/machines/{id}/work/check", pageCheckForm),
		form("/machines/{id}/work/check", pageCheckPost),
		page("/machines/{id}/work/recheck", pageRecheckForm),
		form("/machines/{id}/work/recheck", pageRecheckPost),
		page("/machines/{id}/work/usage", pageUsageForm),
		form("/machines/{id}/work/usage", pageUsagePost),
		page("/machines/{id}/work/gate", pageGateForm),
		form("/machines/{id}/work/gate", pageGatePost),
		page("/machines/{id}/work/opening", pageOpenedForm),
		form("/machines/{id}/work/opening", pageOpenedPost),
		page("/machines/{id}/work/removed", pageRemovedForm),
		form("/machines/{id}/work/removed", pageRemovedPost),
		page("/machines/{id}/work/move/{part}", pageMoveForm),
		form("/machines/{id}/work/move/{part}", pageMovePost),
		page("/machines/{id}/work/card/{option}", pageCard),
		page("/machines/{id}/work/card/{option}/card.pdf", downloadCard),
		form("/machines/{id}/work/card/{option}/caution", pageCardCaution),
		form("/machines/{id}/work/card/{option}/step", pageCardStep),
		form("/machines/{id}/work/card/{option}/undo", pageCardUndo),
		form("/machines/{id}/work/card/{option}/open", pageCardOpen),
		page("/machines/{id}/work/fasteners/{opening}", pageFasteners),
		form("/machines/{id}/work/fasteners/{opening}", pageFastenersPost),
		{method: http.MethodPost, pattern: "/machines/{id}/work/fasteners/{opening}/tap", do: pageFastenersTap, takes: formType, limit: formLimit},
		page("/machines/{id}/work/close/{opening}", pageClose),
		form("/machines/{id}/work/close/{opening}", pageClosePost),
		page("/machines/{id}/work/labels.pdf", downloadLabels),
		page("/t/{id}/{part}", pageTag),
		page("/machines/{id}/record", pageRecordForm),
		form("/machines/{id}/record", pageRecordPost),
		page("/machines/{id}/photos", pagePhotoForm),
		again(upload("/machines/{id}/photos", photoTotal, pagePhotoPost)),
		page("/machines/{id}/photos/{digest}", pagePhoto),
		page("/machines/{id}/dossier.pdf", downloadPDF),
		page("/machines/{id}/keep.json", pageKeep),
		page("/machines/{id}/bundle.zip", downloadZip),

		page("/find", pageFind),
		page("/compare", pageCompare),
		page("/lists/{file}", downloadList),
		page("/machines/{id}/lists/{file}", downloadMachineList),
		page("/machines/{id}/links", pageLinks),
		act("/machines/{id}/links", pageLinksPost),
		form("/machines/{id}/links/end", pageLinkEnd),
		form("/machines/{id}/proposals/{proposal}/reply", pageReply),
		page("/machines/{id}/sum/{figure}", pageSum),
		page("/machines/{id}/sum/{figure}/input.json", downloadSum),
		page("/methods/{method}", pageMethod),
		page("/machines/{id}/story", pageStory),
		page("/machines/{id}/condition.pdf", downloadCondition),
		page("/machines/{id}/exchange/{format}", pageExchange),
		page("/verify", pageVerifyForm),
		upload("/verify", 2*maxBundle+1<<20, pageVerifyPost),

		page("/sign-in", pageSignIn),
		{method: http.MethodPost, pattern: "/sign-in", do: pageSignInPost, takes: formType, limit: formLimit * 4},
		{method: http.MethodPost, pattern: "/sign-in/onward", do: pageOnward, takes: formType, limit: formLimit * 4},
		{method: http.MethodPost, pattern: "/sign-in/passkey", do: passkeyAsk, takes: jsonType, limit: passkeyLimit},
		{method: http.MethodPost, pattern: "/sign-in/passkey/answer", do: passkeySignIn, takes: jsonType, limit: passkeyLimit},
		{method: http.MethodPost, pattern: "/new-passkey", do: passkeyAskNew, takes: jsonType, limit: passkeyLimit},
		{method: http.MethodPost, pattern: "/new-passkey/answer", do: passkeyMake, takes: jsonType, limit: passkeyLimit},
		page("/set-up", pageSetUp),
		act("/set-up", pageSetUpPost),
		page("/join/{token}", pageJoin),
		act("/join/{token}", pageJoinPost),
		act("/sign-out", pageSignOut),
		page("/account", pageAccount),
		act("/account/password", pageAccountPassword),
		act("/account/recovery", pageAccountRecovery),
		act("/account/session", pageAccountSession),
		act("/account/passkey", pageAccountPasskey),
		page("/people", pagePeople),
		act("/people", pagePeoplePost),
		act("/people/change", pagePeopleChange),
		page("/machines/{id}/readers", pageReaders),
		act("/machines/{id}/readers", pageReadersPost),
		act("/machines/{id}/readers/end", pageReaderEnd),
		page("/r/{token}", pageRead),
		act("/r/{token}", pageReadOpen),

		{method: http.MethodPost, pattern: "/o/{token}/passkey", do: pageOwnerPasskey, takes: formType, limit: formLimit},
		page("/machines/{id}/decide", pageOwner),
		{method: http.MethodPost, pattern: "/machines/{id}/decide/choose", do: pageOwnerStep(false), takes: formType, limit: formLimit},
		{method: http.MethodPost, pattern: "/machines/{id}/decide/check", do: pageOwnerStep(true), takes: formType, limit: formLimit},
		{method: http.MethodPost, pattern: "/machines/{id}/decide/answer", do: pageOwnerAnswer, takes: formType, limit: formLimit},
		{method: http.MethodPost, pattern: "/machines/{id}/decide/passkey", do: pageOwnerPasskey, takes: formType, limit: formLimit},
		page("/machines/{id}/decide/photos/{digest}", pageOwnerPhoto),
		page("/machines/{id}/decide/q/{offer}", pageOwnerQuestion),
		page("/machines/{id}/decide/q/{offer}/receipt.pdf", downloadReceipt),
		page("/machines/{id}/decide/q/{offer}/sums/{sum}", downloadOwnerSum),
		form("/machines/{id}/work/sign", pageSign),
		page("/statistics", pageStatistics),
		page("/duplicates", pageDuplicates),
		page("/machines/{id}/register", pageRegister),
		form("/machines/{id}/register/number", pageRegisterNumber),
		form("/machines/{id}/register/permit", pageRegisterPermit),
		form("/machines/{id}/register/stop", pageRegisterStop),
		form("/machines/{id}/register/hand-over", pageHandOver),
		form("/machines/{id}/register/take-back", pageTakeBack),
		form("/machines/{id}/register/confirm", pageConfirm),
		page("/machines/{id}/handed-over.zip", downloadHandOver),
		page("/machines/{id}/receipt.json", downloadTransferReceipt),
		page("/take-over", pageTakeOver),
		upload("/take-over", 2*maxBundle+1<<20, pageTakeOverPost),

		page("/o/{token}", pageOwner),
		{method: http.MethodPost, pattern: "/o/{token}/choose", do: pageOwnerStep(false), takes: formType, limit: formLimit},
		{method: http.MethodPost, pattern: "/o/{token}/check", do: pageOwnerStep(true), takes: formType, limit: formLimit},
		{method: http.MethodPost, pattern: "/o/{token}/answer", do: pageOwnerAnswer, takes: formType, limit: formLimit},
		page("/o/{token}/photos/{digest}", pageOwnerPhoto),
		page("/o/{token}/q/{offer}", pageOwnerQuestion),
		page("/o/{token}/q/{offer}/receipt.pdf", downloadReceipt),
		page("/o/{token}/q/{offer}/sums/{sum}", downloadOwnerSum),

		page("/static/{asset}", pageAsset),
		page("/worker.js", pageWorker),
		page("/waiting", pageWaiting),
		page("/offline", pageOffline),
		page("/robots.txt", pageRobots),
		page("/healthz", pageHealthy),
		page("/readyz", pageReady),

		get("/machines", apiMachines, operation{id: "listMachines", tag: "machines", summary: "List the machines in order of id.",
			query:   []parameter{{"after", "string", "Continue after this machine."}, {"limit", "integer", "How many at most, 1 to 500; 100 when left out."}},
			answers: typeOf[MachineList](), problems: []registry.Code{registry.CodeInvalid}}),
		post("/machines", apiTakeIn, operation{id: "takeIn", tag: "machines", summary: "Take a machine in: its own record, its people and the custody agreement, all in one commit.",
			body: typeOf[TakeIn](), example: exampleTakeIn, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeInvalid, registry.CodeConflict, codeMalformed}}),
		get("/search", apiFind, operation{id: "search", tag: "machines", summary: "Search every machine by words and filters; the most telling first, in pages.",
			query: findQuery, answers: typeOf[workshop.Found](), problems: []registry.Code{registry.CodeInvalid, registry.CodeTooLarge}}),
		get("/machines/{id}", apiMachine, operation{id: "showMachine", tag: "machines", summary: "The whole dossier of a machine as a report.",
			query: editionQuery, answers: typeOf[workshop.Report](), tagged: true, problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeTampered}}),
		get("/machines/{id}/components/{component}", apiComponent, operation{id: "showComponent", tag: "machines", summary: "One component with the answers to its three questions.",
			query: editionQuery, answers: typeOf[workshop.ComponentReport](), tagged: true, problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/events", apiEvents, operation{id: "readEvents", tag: "machines", summary: "The stored events, byte for byte, one a line.",
			query: []parameter{{"after", "integer", "Only events after this version."}}, answerType: "application/jsonl", tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		post("/machines/{id}/records", apiRecords, operation{id: "record", tag: "acts", summary: "Record one or many records of any kind, all or nothing.",
			needsVersion: true, bodySchema: recordsSchema(), example: exampleRecords, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeInvalid, registry.CodeNotFound, registry.CodeConflict, registry.CodeRefused, registry.CodeNotApproved, codeStale, codeNeedsVersion, codeMalformed}}),
		post("/machines/{id}/survey-seal", apiSeal, operation{id: "sealSurvey", tag: "acts", summary: "Close the as-found survey with the indices as they stand.",
			needsVersion: true, bodySchema: map[string]any{"type": "object", "required": []string{"by"}, "properties": map[string]any{"by": map[string]any{"type": "string"}}, "description": "A survey-seal without its digest and indices, which are filled in; see /api/v1/schemas."},
			example: `{"by":"custodian"}`, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeInvalid, registry.CodeRefused, registry.CodeConflict, codeStale, codeNeedsVersion}}),
		post("/machines/{id}/weighings", apiWeigh, operation{id: "weigh", tag: "acts", summary: "Compute what options do to the indices; with record, keep the result (then If-Match is needed).",
			body: typeOf[WeighRequest](), example: `{"options":["leave-it"],"record":false}`, answers: typeOf[Weighed](), tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInsufficient, codeStale, codeNeedsVersion}}),
		post("/machines/{id}/bench-evidence", apiBenchEvidence, operation{id: "attachEvidence", tag: "acts", summary: "Run a method of the bench and keep the result as evidence on a component: likelihoods, cluster, input, result and version.",
			needsVersion: true, body: typeOf[workshop.BenchEvidence](), example: exampleBenchEvidence, answers: typeOf[workshop.AttachedEvidence](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeInvalid, registry.CodeNotFound, registry.CodeInsufficient, registry.CodeRefused, registry.CodeConflict, codeStale, codeNeedsVersion, codeMalformed}}),
		get("/complaints", apiComplaints, operation{id: "listComplaints", tag: "about", summary: "The complaints of the symptom library.", answers: typeOf[ComplaintList]()}),
		get("/machines/{id}/faults", apiFaults, operation{id: "listFaults", tag: "figures", summary: "The faults of a machine, with what may cause each and the test to make next.",
			answers: typeOf[FaultList](), tagged: true, problems: []registry.Code{registry.CodeNotFound}}),
		get("/machines/{id}/faults/{fault}", apiFault, operation{id: "searchFault", tag: "figures", summary: "One fault: what was found, what may cause it, the test to make next and what each outcome leads to.",
			query: faultQuery, answers: typeOf[workshop.FaultSearch](), tagged: true, problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/faults/{fault}/causes/{cause}/options", apiDrafts, operation{id: "draftOptions", tag: "figures", summary: "An option drafted for each treatment of a cause, leaving first. Nothing is recorded.",
			query: []parameter{{"by", "string", "Person id of who drafts them."}}, answers: typeOf[workshop.OptionDrafts](), tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeRefused}}),
		get("/machines/{id}/plan", apiPlan, operation{id: "plan", tag: "figures", summary: "The plans for the open faults that no other beats, one option for each fault, and the one to begin with.",
			query: planQuery, answers: typeOf[workshop.PlanReport](), tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeInsufficient, registry.CodeTooLarge}}),
		get("/machines/{id}/parts", apiParts, operation{id: "parts", tag: "figures", summary: "What must be in hand, what the search log says of it, and what lies in stock.",
			query: []parameter{{"ahead", "number", "For how many years to look ahead; 2 when left out."}}, answers: typeOf[workshop.PartsReport](), tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		{method: http.MethodPost, pattern: "/api/v1/machines/{id}/cost", do: apiCost, takes: jsonType, limit: jsonLimit,
			api: &operation{id: "forecastCost", tag: "figures", summary: "Forecast what options cost together, and how likely a ceiling is passed. Nothing is recorded.",
				body: typeOf[CostRequest](), example: exampleCost, answers: typeOf[workshop.CostReport](),
				problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeInsufficient, codeMalformed}}},
		{method: http.MethodPost, pattern: "/api/v1/machines/{id}/value", do: apiValue, takes: jsonType, limit: jsonLimit,
			api: &operation{id: "compareValue", tag: "figures", summary: "Compare what the machine is worth as it stands and after options, by the sales on its record. Nothing is recorded.",
				body: typeOf[workshop.ValueQuestion](), example: exampleValue, answers: typeOf[workshop.ValueReport](),
				problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeInsufficient, codeMalformed}}},
		post("/machines/{id}/proposals", apiPropose, operation{id: "propose", tag: "acts", summary: "Put options to the owner. The answer tells the link, once.",
			needsVersion: true, body: typeOf[ProposeRequest](), example: exampleProposal, answers: typeOf[ProposedAnswer](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeInvalid, registry.CodeNotFound, registry.CodeConflict, codeStale, codeNeedsVersion}}),
		{method: http.MethodPost, pattern: "/api/v1/machines/{id}/photos", do: apiPhotoPost, takes: multipartType, limit: workshop.MaxPhotoBytes + 1<<20, once: true,
			api: &operation{id: "addPhoto", tag: "acts", summary: "Keep a picture: the part \"file\" holds its bytes, the part \"photo\" what it shows, as JSON.", takesKey: true,
				bodySchema: map[string]any{"type": "object", "required": []string{"file", "photo"}, "properties": map[string]any{
					"file": map[string]any{"type": "string", "format": "binary"}, "photo": map[string]any{"$ref": "#/components/schemas/PhotoRequest"}}},
				answers: typeOf[PhotoKept](), status: 201, tagged: true,
				problems: []registry.Code{registry.CodeInvalid, registry.CodeNotFound, registry.CodeTooLarge, registry.CodeUnsupported, registry.CodeTampered}}},
		get("/machines/{id}/options/{option}/card", apiCard, operation{id: "readCard", tag: "figures", summary: "The work card of an option: the approval and its limits, what must be in hand, openings, fasteners, steps.",
			answers: typeOf[workshop.CardReport](), problems: []registry.Code{registry.CodeNotFound}}),
		get("/photos/{digest}", apiPhoto, operation{id: "readPhoto", tag: "files", summary: "Stored bytes of a picture, as a file.", answerType: "application/octet-stream",
			problems: []registry.Code{registry.CodeNotFound, registry.CodeTampered}}),
		get("/machines/{id}/dossier.pdf", downloadPDF, operation{id: "readPDF", tag: "files", summary: "The dossier to read and print.", query: fileQuery, answerType: "application/pdf",
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, codeNotOffered}}),
		get("/machines/{id}/bundle.zip", downloadZip, operation{id: "readBundle", tag: "files", summary: "The dossier to check: events, pictures, signatures.", query: fileQuery, answerType: "application/zip",
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, codeNotOffered}}),
		{method: http.MethodPost, pattern: "/api/v1/calc/{method}", do: apiCalc, takes: jsonType, limit: scoring.MaxInputBytes + 1,
			api: &operation{id: "calculate", tag: "figures", summary: "Run one method, such as origin, index or effect, on its input. Nothing is recorded.",
				bodySchema: map[string]any{"type": "object", "description": "See calc-origin-input and its like under /api/v1/schemas."}, example: exampleOrigin,
				problems: []registry.Code{registry.CodeInvalid, registry.CodeNotFound, registry.CodeInsufficient, codeMalformed}}},
		{method: http.MethodPost, pattern: "/api/v1/verify", do: apiVerify, takes: "application/zip", limit: maxBundle,
			api: &operation{id: "verify", tag: "figures", summary: "Check a bundle. Nothing of it is kept.",
				bodySchema: map[string]any{"type": "string", "format": "binary"},
				problems:   []registry.Code{registry.CodeUnsupported, registry.CodeTooLarge, codeNotOffered}}},
		get("/machines/{id}/criteria", apiCriteria, operation{id: "readCriteria", tag: "figures", summary: "The record held against published classes and ages, criterion by criterion. It awards nothing.",
			query: criteriaQuery, answers: typeOf[workshop.CriteriaReport](), tagged: true, problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		{method: http.MethodPost, pattern: "/api/v1/survivors", do: apiSurvivors, takes: jsonType, limit: jsonLimit,
			api: &operation{id: "countSurvivors", tag: "figures", summary: "How many of a model survive and were built, by the numbers on record and another list. Nothing is recorded, and no number is in the answer.",
				body: typeOf[workshop.SurvivorsQuestion](), example: exampleSurvivors, answers: typeOf[workshop.SurvivorsReport](),
				problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, codeMalformed}}},
		get("/machines/{id}/exchange/prov", exchanged("prov"), operation{id: "exportProvenance", tag: "files", summary: "The record as PROV-JSON.", query: exchangeQuery,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/exchange/jsonld", exchanged("jsonld"), operation{id: "exportLinkedData", tag: "files", summary: "The machine as JSON-LD in the terms of CIDOC CRM, Linked Art and schema.org.", query: exchangeQuery,
			answerType: "application/ld+json", problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/exchange/objectid", exchanged("objectid"), operation{id: "exportObjectID", tag: "files", summary: "The Object ID record, by which a stolen machine is recognised.", query: exchangeQuery,
			answers: typeOf[exchange.ObjectID](), problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/exchange/objectid-text", exchanged("objectid-text"), operation{id: "exportObjectIDText", tag: "files", summary: "The Object ID record as text to print.", query: exchangeQuery,
			answerType: "text/plain", problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/machines/{id}/exchange/ics", exchanged("ics"), operation{id: "exportCalendar", tag: "files", summary: "What is to be looked at again and until when offers stand, as iCalendar.", query: exchangeQuery,
			answerType: "text/calendar", problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid}}),
		get("/statistics", apiStatistics, operation{id: "readStatistics", tag: "figures", summary: "Figures over all machines on record, or over one model. No machine, person or number is in them; small groups are told together to those who do not keep the registry.",
			query: statisticsQuery, answers: typeOf[workshop.Statistics](), problems: []registry.Code{registry.CodeNotFound, registry.CodeInsufficient}}),
		get("/duplicates", apiDuplicates, operation{id: "listDuplicates", tag: "machines", summary: "The numbers that two machines have, with both whole readings and what was said of them.",
			query: []parameter{{"after", "string", "Continue after the place that an answer gave as next."}}, answers: typeOf[workshop.DuplicatesList](), problems: []registry.Code{registry.CodeInvalid}}),
		get("/machines/{id}/duplicates", apiDuplicatesOf, operation{id: "listDuplicatesOf", tag: "machines", summary: "The machines that share a number with one. One that the caller may not see is counted and not named.",
			answers: typeOf[workshop.DuplicatesList](), problems: []registry.Code{registry.CodeNotFound}}),
		get("/machines/{id}/shared-sales", apiSharedSales, operation{id: "listSharedSales", tag: "figures", summary: "The sales on other machines' records that their owners let be used for this one; a price that is withheld is left out.",
			answers: typeOf[SharedSaleList](), problems: []registry.Code{registry.CodeNotFound}}),
		post("/machines/{id}/transfer", apiHandOver, operation{id: "handOver", tag: "acts", summary: "Hand the record over to another registry: nothing more is recorded on it here.",
			needsVersion: true, body: typeOf[HandOverRequest](), example: `{"because":"sold to a museum that keeps a registry of its own","by":"custodian"}`, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeNotApproved, registry.CodeRefused, registry.CodeConflict, codeStale, codeNeedsVersion, codeMalformed}}),
		get("/machines/{id}/transfer/bundle", downloadHandOver, operation{id: "readHandOver", tag: "files", summary: "The bundle for the other registry: the whole record with names, places, numbers and original pictures.", answerType: "application/zip",
			problems: []registry.Code{registry.CodeNotFound, registry.CodeRefused, codeNotOffered}}),
		post("/machines/{id}/transfer/end", apiTakeBack, operation{id: "takeBackHandOver", tag: "acts", summary: "Take a handing over back that no other registry has answered.",
			needsVersion: true, body: typeOf[TakeBackRequest](), example: `{"why":"the sale fell through","by":"custodian"}`, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeRefused, registry.CodeConflict, codeStale, codeNeedsVersion, codeMalformed}}),
		post("/machines/{id}/transfer/receipt", apiConfirmTransfer, operation{id: "confirmTransfer", tag: "acts", summary: "Record that another registry has taken the record over, by the receipt that it signed.",
			body: typeOf[ConfirmTransferRequest](), example: exampleTransferReceipt, answers: typeOf[workshop.Receipt](), status: 201, tagged: true,
			problems: []registry.Code{registry.CodeNotFound, registry.CodeInvalid, registry.CodeRefused, codeNotOffered, codeMalformed}}),
		get("/machines/{id}/transfer/receipt", downloadTransferReceipt, operation{id: "readTransferReceipt", tag: "files", summary: "The receipt for the registry from which this one took the record over.", answerType: jsonType,
			problems: []registry.Code{registry.CodeNotFound, codeNotOffered}}),
		{method: http.MethodPost, pattern: "/api/v1/take-over", do: apiTakeOver, takes: "application/zip", limit: maxBundle,
			api: &operation{id: "takeOver", tag: "acts", summary: "Take a record over from the bundle with which another registry handed it over. It is verified whole before anything is kept; sent again, it changes nothing.",
				query: []parameter{{"trust", "string", "The giving registry's fingerprint, got from it by another way, or its public key."}}, bodySchema: map[string]any{"type": "string", "format": "binary"},
				answers: typeOf[TakeOverAnswer](), status: 201, problems: []registry.Code{registry.CodeInvalid, registry.CodeUnsupported, registry.CodeRefused, registry.CodeConflict, registry.CodeTooLarge, codeNotOffered}}},
		get("/schemas", apiSchemas, operation{id: "listSchemas", tag: "about", summary: "The names of the JSON Schemas.", answers: typeOf[SchemaList]()}),
		get("/schemas/{name}", apiSchema, operation{id: "readSchema", tag: "about", summary: "The JSON Schema of one kind of record, such as survey.v1.schema.json.", answerType: "application/schema+json",
			problems: []registry.Code{registry.CodeNotFound}}),
		get("/openapi.json", apiDocument, operation{id: "readOpenAPI", tag: "about", summary: "This document.", answerType: "application/openapi+json"}),
	}
}

// router puts the table on a chi router behind what every request passes.
func (s *Server) router() chi.Router {
	m := chi.NewRouter()
	m.Use(s.observe, secure, s.arrive, s.knownHost, s.sameOrigin, s.aged, s.recognise, s.chooseLanguage, middleware.GetHead)
	for _, rt := range routes() {
		m.Method(rt.method, rt.pattern, s.serve(rt))
	}
	m.NotFound(func(w http.ResponseWriter, r *http.Request) {
		s.fail(w, r, registry.Refuse(registry.CodeNotFound, "", "There is no page of that address"))
	})
	m.MethodNotAllowed(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Allow", allowedMethods(r))
		s.fail(w, r, registry.Refuse(codeMethod, "", "%s is not done here", quoted(r.Method)))
	})
	return m
}

// pageQueries are the keys that pages and files with a public and a private
// edition take: a misspelt "public" must not show what was to be hidden.
var pageQueries = map[string][]string{
	"/machines/{id}":                        {"as_of", "known_at", "public", "recorded", "timeline"},
	"/machines/{id}/components/{component}": {"as_of", "known_at", "public", "recorded"},
	"/machines/{id}/groups/{group}":         {"as_of", "known_at", "public", "recorded"},
	"/machines/{id}/story":                  {"as_of", "known_at", "public"},
	"/machines/{id}/lists/{file}":           {"as_of", "known_at", "public"},
	"/machines/{id}/dossier.pdf":            {"edition"},
	"/machines/{id}/bundle.zip":             {"edition"},
	"/machines/{id}/condition.pdf":          {"edition"},
}

// checkRequest refuses a body of another type than the route takes, and an
// answer of a type that it does not give.
func (s *Server) checkRequest(rt route, r *http.Request) error {
	if rt.takes != "" {
		given, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
		if err != nil || given != rt.takes {
			return registry.Refuse(registry.CodeUnsupported, "Send it as "+rt.takes+".", "The body is not of the type that is read here")
		}
	}
	known, strict := pageQueries[rt.pattern]
	if rt.api != nil {
		strict = true
		for _, q := range rt.api.query {
			known = append(known, q.name)
		}
	}
	if !strict || rt.api == nil && rt.method != http.MethodGet {
		return nil
	}
	for _, name := range slices.Sorted(maps.Keys(r.URL.Query())) {
		if !slices.Contains(known, name) {
			// A misspelt "public" must not show what was to be hidden.
			allowed := "no parameters"
			if len(known) > 0 {
				allowed = strings.Join(known, ", ")
			}
			return &registry.Error{Code: registry.CodeInvalid, Message: "The query has a parameter that is not known here: " + quoted(name), Fix: "Check its spelling.",
				Fields: []registry.Field{{Pointer: "/" + name, Found: quoted(name), Allowed: allowed, Message: "There is no such parameter"}}}
		}
	}
	if rt.api == nil {
		return nil
	}
	gives := rt.api.answerType
	if gives == "" {
		gives = jsonType
	}
	if !accepts(r.Header.Get("Accept"), gives) {
		return registry.Refuse(codeNotAcceptable, "Accept "+gives+".", "The answer is %s, which the request does not accept", gives)
	}
	return nil
}

// accepts reads an Accept header as far as is needed to say yes or no.
func accepts(header, mediaType string) bool {
	if strings.TrimSpace(header) == "" {
		return true
	}
	major, _, _ := strings.Cut(mediaType, "/")
	for _, part := range strings.Split(header, ",") {
		given, params, err := mime.ParseMediaType(strings.TrimSpace(part))
		if err != nil || params["q"] == "0" {
			continue
		}
		if given == "*/*" || given == major+"/*" || given == mediaType || given == jsonType && strings.HasSuffix(mediaType, "json") {
			return true
		}
	}
	return false
}
