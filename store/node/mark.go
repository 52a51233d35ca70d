package node

// MarkName is the file that marks a folder as a node's copy.
const MarkName = markName
