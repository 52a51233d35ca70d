package workshop

// What a work card says of every job. All of it is common practice in the
// trade, and none of it stands in for the maker's handbook.

const tipsBasis = "Tools and tips are common practice, not the maker's instructions."

const torqueRule = "No torque is given here. Take the maker's figure and note where it stands; without one, “calc torque” gives a ceiling for a fastener of known grade and lubrication, and refuses any other."

var openingTools = []string{
	"tips ground to fill the slot, and cross tips of several kinds",
	"card with holes in the shape of the cover, or a divided tray",
	"bags, tags and a soft pencil",
	"rule or calliper for lengths",
	"camera, with a scale in the picture",
}

var cardTips = []string{
	"Clean the recess first. Try the tip with the hand: does it rock? Then try another before turning. Note which recess is there, which tip was tried and whether it rocked.",
}

var openingTips = []string{
	"Take the as-found picture before the first fastener is touched.",
	"Loosen evenly and crosswise; put each into its place on the card as it comes out.",
	"Before force, ask whether it is left-hand. Write the hand as found, not as expected.",
	"No lever between joint faces. A cover that will not come has another fastener.",
	"A shouldered fastener seats on its shoulder. Never pull a joint home with its fasteners.",
}

// waysBeyond are the ways forward where the card ends.
var waysBeyond = []string{
	"Something is not in hand: order it, put it into stock when it comes, and open then.",
	"The work turns out larger, another cover has to come off, a part breaks, or something unsafe is found: stop, take a picture, and ask with a change request.",
	"It could hurt somebody now: make it safe and no more, record that as making safe, and tell the owner the same day.",
}
