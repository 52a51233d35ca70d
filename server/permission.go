package server

import (
	"example.org/asfound/access"
)

// reach is how far a role must have been granted for a route.
type reach int

const (
	forNobody  reach = iota // the answer to a route without a row
	forAnybody              // whoever comes; nobody is asked for
	forOneself              // whoever is signed in, on their own account
	somewhere               // granted for any machine; what is shown and recorded is narrowed to such machines
	everywhere              // granted for all machines
	oneMachine              // granted for the machine in the address
)

// permission is who may use a route.
type permission struct {
	reach reach
	roles []access.Role
}

var (
	keepers = []access.Role{access.Keeper}
	hands   = []access.Role{access.Keeper, access.Mechanic}
	signers = []access.Role{access.Keeper, access.Mechanic, access.Second}
	readers = access.Roles()
	seconds = []access.Role{access.Second}
	// lookers read at least the public edition; publicOnly keeps them to it.
	lookers = append(access.Roles(), access.PublicReader)
)

// permissions is the one table of who may do what, by method and pattern. A
// route that has no row is closed, and a test fails.
var permissions = map[string]permission{
	"GET /":                              {somewhere, readers},
	"GET /take-in":                       {everywhere, hands},
	"POST /take-in":                      {everywhere, hands},
	"GET /import":                        {somewhere, hands},
	"POST /import":                       {somewhere, hands},
	"GET /import/rejected/{file}":        {somewhere, hands},
	"GET /survivors":                     {everywhere, readers},
	"POST /survivors":                    {everywhere, readers},
	"GET /import/mappings":               {somewhere, hands},
	"POST /import/mappings":              {everywhere, hands},
	"POST /import/mappings/remove":       {everywhere, hands},
	"GET /bench":                         {somewhere, readers},
	"GET /bench/table":                   {somewhere, readers},
	"GET /bench/card":                    {somewhere, readers},
	"POST /bench/card":                   {somewhere, readers},
	"POST /bench/attach":                 {somewhere, hands},
	"GET /bench/{kind}":                  {somewhere, readers},
	"POST /bench/{kind}":                 {somewhere, readers},
	"GET /find":                          {everywhere, readers},
	"GET /compare":                       {everywhere, readers},
	"GET /lists/{file}":                  {everywhere, readers},
	"GET /methods/{method}":              {forAnybody, nil},
	"GET /verify":                        {forAnybody, nil}, // a buyer has no account; nothing is kept
	"POST /verify":                       {forAnybody, nil},
	"GET /machines/{id}":                 {oneMachine, lookers},
	"GET /machines/{id}/drawing":         {oneMachine, lookers},
	"GET /machines/{id}/groups/{group}":  {oneMachine, lookers},
	"GET /machines/{id}/sum/{figure}":    {oneMachine, lookers},
	"GET /machines/{id}/story":           {oneMachine, lookers},
	"GET /machines/{id}/condition.pdf":   {oneMachine, lookers},
	"GET /machines/{id}/dossier.pdf":     {oneMachine, lookers},
	"GET /machines/{id}/bundle.zip":      {oneMachine, lookers},
	"GET /machines/{id}/lists/{file}":    {oneMachine, lookers},
	"GET /machines/{id}/photos/{digest}": {oneMachine, lookers},
	"GET /machines/{id}/criteria":        {oneMachine, readers},
	"GET /machines/{id}/value":           {oneMachine, readers},
	"GET /machines/{id}/plan":            {oneMachine, readers},
	"GET /machines/{id}/parts":           {oneMachine, readers},
	"GET /machines/{id}/options":         {oneMachine, readers},
	"GET /machines/{id}/faults":          {oneMachine, readers},
	"GET /machines/{id}/faults/{fault}":  {oneMachine, readers},
	"GET /machines/{id}/work":            {oneMachine, readers},
	"GET /t/{id}/{part}":                 {oneMachine, readers},

	"GET /machines/{id}/components/{component}":      {oneMachine, lookers},
	"GET /machines/{id}/sum/{figure}/input.json":     {oneMachine, lookers},
	"GET /machines/{id}/components/{component}/test": {oneMachine, readers},
	"GET /machines/{id}/proposals/{proposal}":        {oneMachine, readers},
	"GET /machines/{id}/work/fasteners/{opening}":    {oneMachine, readers},

	"GET /machines/{id}/survey":                        {oneMachine, hands},
	"GET /machines/{id}/survey/pictures/{n}":           {oneMachine, hands},
	"POST /machines/{id}/survey/pictures/{n}":          {oneMachine, hands},
	"POST /machines/{id}/survey/undo":                  {oneMachine, hands},
	"GET /machines/{id}/survey/{component}":            {oneMachine, hands},
	"POST /machines/{id}/survey/{component}":           {oneMachine, hands},
	"GET /machines/{id}/seal":                          {oneMachine, hands},
	"POST /machines/{id}/seal":                         {oneMachine, hands},
	"POST /machines/{id}/options":                      {oneMachine, hands},
	"POST /machines/{id}/faults":                       {oneMachine, hands},
	"POST /machines/{id}/faults/{fault}/findings":      {oneMachine, hands},
	"POST /machines/{id}/faults/{fault}/undo":          {oneMachine, hands},
	"POST /machines/{id}/faults/{fault}/options":       {oneMachine, hands},
	"GET /machines/{id}/faults/{fault}/leaving":        {oneMachine, hands},
	"POST /machines/{id}/faults/{fault}/leaving":       {oneMachine, hands},
	"GET /machines/{id}/options/{option}/risk":         {oneMachine, hands},
	"POST /machines/{id}/options/{option}/risk":        {oneMachine, hands},
	"POST /machines/{id}/parts":                        {oneMachine, hands},
	"GET /machines/{id}/propose":                       {oneMachine, hands},
	"POST /machines/{id}/propose":                      {oneMachine, hands},
	"POST /machines/{id}/proposals/{proposal}/reply":   {oneMachine, hands},
	"GET /machines/{id}/links":                         {oneMachine, hands},
	"POST /machines/{id}/links":                        {oneMachine, hands},
	"POST /machines/{id}/links/end":                    {oneMachine, hands},
	"GET /machines/{id}/work/entry":                    {oneMachine, hands},
	"POST /machines/{id}/work/entry":                   {oneMachine, hands},
	"GET /machines/{id}/work/check":                    {oneMachine, signers},
	"POST /machines/{id}/work/check":                   {oneMachine, signers},
	"GET /machines/{id}/work/recheck":                  {oneMachine, hands},
	"POST /machines/{id}/work/recheck":                 {oneMachine, hands},
	"GET /machines/{id}/work/usage":                    {oneMachine, hands},
	"POST /machines/{id}/work/usage":                   {oneMachine, hands},
	"GET /machines/{id}/work/gate":                     {oneMachine, signers},
	"POST /machines/{id}/work/gate":                    {oneMachine, signers},
	"GET /machines/{id}/work/opening":                  {oneMachine, hands},
	"POST /machines/{id}/work/opening":                 {oneMachine, hands},
	"GET /machines/{id}/work/removed":                  {oneMachine, hands},
	"POST /machines/{id}/work/removed":                 {oneMachine, hands},
	"GET /machines/{id}/work/move/{part}":              {oneMachine, hands},
	"POST /machines/{id}/work/move/{part}":             {oneMachine, hands},
	"GET /machines/{id}/work/card/{option}":            {oneMachine, signers},
	"GET /machines/{id}/work/card/{option}/card.pdf":   {oneMachine, signers},
	"POST /machines/{id}/work/card/{option}/caution":   {oneMachine, hands},
	"POST /machines/{id}/work/card/{option}/step":      {oneMachine, hands},
	"POST /machines/{id}/work/card/{option}/undo":      {oneMachine, hands},
	"POST /machines/{id}/work/card/{option}/open":      {oneMachine, hands},
	"POST /machines/{id}/work/fasteners/{opening}":     {oneMachine, hands},
	"POST /machines/{id}/work/fasteners/{opening}/tap": {oneMachine, hands},
	"GET /machines/{id}/work/close/{opening}":          {oneMachine, hands},
	"POST /machines/{id}/work/close/{opening}":         {oneMachine, hands},
	"GET /machines/{id}/work/labels.pdf":               {oneMachine, hands},
	"GET /machines/{id}/record":                        {oneMachine, hands},
	"POST /machines/{id}/record":                       {oneMachine, hands},
	"GET /machines/{id}/photos":                        {oneMachine, hands},
	"POST /machines/{id}/photos":                       {oneMachine, hands},
	"GET /machines/{id}/readers":                       {oneMachine, keepers},
	"POST /machines/{id}/readers":                      {oneMachine, keepers},
	"POST /machines/{id}/readers/end":                  {oneMachine, keepers},
	"POST /o/{token}/passkey":                          {forAnybody, nil},
	"GET /machines/{id}/decide":                        {oneMachine, owners},
	"POST /machines/{id}/decide/choose":                {oneMachine, owners},
	"POST /machines/{id}/decide/check":                 {oneMachine, owners},
	"POST /machines/{id}/decide/answer":                {oneMachine, owners},
	"POST /machines/{id}/decide/passkey":               {oneMachine, owners},
	"GET /machines/{id}/decide/photos/{digest}":        {oneMachine, owners},
	"GET /machines/{id}/decide/q/{offer}":              {oneMachine, owners},
	"GET /machines/{id}/decide/q/{offer}/receipt.pdf":  {oneMachine, owners},
	"GET /machines/{id}/decide/q/{offer}/sums/{sum}":   {oneMachine, owners},
	"POST /machines/{id}/work/sign":                    {oneMachine, seconds},
	"GET /o/{token}":                                   {forAnybody, nil},
	"POST /o/{token}/choose":                           {forAnybody, nil},
	"POST /o/{token}/check":                            {forAnybody, nil},
	"POST /o/{token}/answer":                           {forAnybody, nil},
	"GET /o/{token}/photos/{digest}":                   {forAnybody, nil},
	"GET /o/{token}/q/{offer}":                         {forAnybody, nil},
	"GET /o/{token}/q/{offer}/receipt.pdf":             {forAnybody, nil},
	"GET /o/{token}/q/{offer}/sums/{sum}":              {forAnybody, nil},
	"GET /r/{token}":                                   {forAnybody, nil},
	"POST /r/{token}":                                  {forAnybody, nil},
	"GET /static/{asset}":                              {forAnybody, nil},
	"GET /worker.js":                                   {forAnybody, nil},
	"GET /waiting":                                     {forAnybody, nil}, // holds nothing of the registry: the phone fills it
	"GET /offline":                                     {forAnybody, nil},
	"GET /machines/{id}/keep.json":                     {oneMachine, hands},
	"GET /robots.txt":                                  {forAnybody, nil},
	"GET /healthz":                                     {forAnybody, nil},
	"GET /readyz":                                      {forAnybody, nil},
	"GET /sign-in":                                     {forAnybody, nil},
	"POST /sign-in":                                    {forAnybody, nil},
	"POST /sign-in/onward":                             {forOneself, nil},
	"POST /sign-in/passkey":                            {forAnybody, nil},
	"POST /sign-in/passkey/answer":                     {forAnybody, nil},
	"POST /new-passkey":                                {forAnybody, nil}, // asks for the session, the invitation or the code itself
	"POST /new-passkey/answer":                         {forAnybody, nil},
	"GET /set-up":                                      {forAnybody, nil},
	"POST /set-up":                                     {forAnybody, nil},
	"GET /join/{token}":                                {forAnybody, nil},
	"POST /join/{token}":                               {forAnybody, nil},
	"POST /sign-out":                                   {forOneself, nil},
	"GET /account":                                     {forOneself, nil},
	"POST /account/password":                           {forOneself, nil},
	"POST /account/recovery":                           {forOneself, nil},
	"POST /account/session":                            {forOneself, nil},
	"POST /account/passkey":                            {forOneself, nil},
	"GET /people":                                      {everywhere, keepers},
	"POST /people":                                     {everywhere, keepers},
	"POST /people/change":                              {everywhere, keepers},
	"GET /api/v1/machines":                             {somewhere, readers},
	"POST /api/v1/machines":                            {everywhere, hands},
	"GET /api/v1/search":                               {everywhere, readers},
	"GET /api/v1/machines/{id}":                        {oneMachine, readers},
	"GET /api/v1/machines/{id}/components/{component}": {oneMachine, readers},
	"GET /api/v1/machines/{id}/events":                 {oneMachine, readers},
	"GET /api/v1/machines/{id}/faults":                 {oneMachine, readers},
	"GET /api/v1/machines/{id}/faults/{fault}":         {oneMachine, readers},
	"GET /api/v1/machines/{id}/plan":                   {oneMachine, readers},
	"GET /api/v1/machines/{id}/parts":                  {oneMachine, readers},
	"GET /api/v1/machines/{id}/criteria":               {oneMachine, readers},
	"GET /api/v1/machines/{id}/options/{option}/card":  {oneMachine, readers},
	"GET /api/v1/machines/{id}/dossier.pdf":            {oneMachine, readers},
	"GET /api/v1/machines/{id}/bundle.zip":             {oneMachine, readers},
	"POST /api/v1/machines/{id}/cost":                  {oneMachine, readers},
	"POST /api/v1/machines/{id}/value":                 {oneMachine, readers},
	"POST /api/v1/machines/{id}/records":               {oneMachine, hands},
	"POST /api/v1/machines/{id}/survey-seal":           {oneMachine, hands},
	"POST /api/v1/machines/{id}/weighings":             {oneMachine, hands},
	"POST /api/v1/machines/{id}/bench-evidence":        {oneMachine, hands},
	"POST /api/v1/machines/{id}/proposals":             {oneMachine, hands},
	"POST /api/v1/machines/{id}/photos":                {oneMachine, hands},
	"GET /api/v1/photos/{digest}":                      {everywhere, hands}, // any machine's, originals too
	"POST /api/v1/survivors":                           {everywhere, readers},
	"GET /api/v1/complaints":                           {somewhere, readers},
	"POST /api/v1/calc/{method}":                       {somewhere, readers},
	"POST /api/v1/verify":                              {somewhere, readers},
	"GET /api/v1/schemas":                              {forAnybody, nil},
	"GET /api/v1/schemas/{name}":                       {forAnybody, nil},
	"GET /api/v1/openapi.json":                         {forAnybody, nil},

	"GET /api/v1/machines/{id}/faults/{fault}/causes/{cause}/options": {oneMachine, readers},

	"GET /statistics":                        {everywhere, readers},
	"GET /duplicates":                        {everywhere, hands}, // whole numbers
	"GET /machines/{id}/register":            {oneMachine, hands},
	"POST /machines/{id}/register/number":    {oneMachine, hands},
	"POST /machines/{id}/register/permit":    {oneMachine, hands},
	"POST /machines/{id}/register/stop":      {oneMachine, hands},
	"POST /machines/{id}/register/hand-over": {oneMachine, keepers},
	"POST /machines/{id}/register/take-back": {oneMachine, keepers},
	"POST /machines/{id}/register/confirm":   {oneMachine, keepers},
	"GET /machines/{id}/handed-over.zip":     {oneMachine, keepers}, // everything, originals too
	"GET /machines/{id}/receipt.json":        {oneMachine, keepers},
	"GET /take-over":                         {everywhere, keepers},
	"POST /take-over":                        {everywhere, keepers},
	"GET /api/v1/statistics":                 {everywhere, readers},
	"GET /api/v1/duplicates":                 {everywhere, hands},
	"GET /api/v1/machines/{id}/duplicates":   {oneMachine, hands},
	"GET /api/v1/machines/{id}/shared-sales": {oneMachine, readers},

	"POST /api/v1/machines/{id}/transfer":         {oneMachine, keepers},
	"GET /api/v1/machines/{id}/transfer/bundle":   {oneMachine, keepers},
	"POST /api/v1/machines/{id}/transfer/end":     {oneMachine, keepers},
	"POST /api/v1/machines/{id}/transfer/receipt": {oneMachine, keepers},
	"GET /api/v1/machines/{id}/transfer/receipt":  {oneMachine, keepers},
	"POST /api/v1/take-over":                      {everywhere, keepers},

	"GET /machines/{id}/exchange/{format}":             {oneMachine, lookers}, // whoever may see the public edition alone gets that
	"GET /api/v1/machines/{id}/exchange/prov":          {oneMachine, readers},
	"GET /api/v1/machines/{id}/exchange/jsonld":        {oneMachine, readers},
	"GET /api/v1/machines/{id}/exchange/objectid":      {oneMachine, readers},
	"GET /api/v1/machines/{id}/exchange/objectid-text": {oneMachine, readers},
	"GET /api/v1/machines/{id}/exchange/ics":           {oneMachine, readers},
}

func permissionOf(rt route) permission { return permissions[rt.method+" "+rt.pattern] }

// verdict is what the table says of a visitor.
type verdict int

const (
	letIn   verdict = iota
	unknown         // must sign in first
	unseen          // what is asked for is not there, for all they may know
	denied          // it is there, and not theirs to do
)

// judge holds a visitor against a row. who is nil for somebody unknown.
func (p permission) judge(who *access.Who, machine string) verdict {
	switch {
	case p.reach == forAnybody:
		return letIn
	case p.reach == forNobody:
		return unseen
	case who == nil:
		return unknown
	case p.reach == forOneself && who.Session != "",
		p.reach == somewhere && who.HasAnywhere(p.roles...),
		p.reach == everywhere && who.Has("", p.roles...),
		p.reach == oneMachine && who.Has(machine, p.roles...):
		return letIn
	case p.reach == oneMachine && !who.Sees(machine):
		return unseen
	}
	return denied
}
