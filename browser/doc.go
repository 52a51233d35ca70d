// Package browser holds the tests that need a real Chromium: what a person sees
// and does on the pages, at the width of a phone and of a desk. It has no code
// of its own.
//
// Without a Chromium the tests are skipped, unless ASFOUND_BROWSER is
// "required". ASFOUND_CHROMIUM names the program, and ASFOUND_AXE the script
// axe.min.js of the npm package axe-core, without which the accessibility
// rules are not asked.
package browser
