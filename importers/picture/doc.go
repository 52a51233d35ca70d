// Package picture exists to take a photo in without trusting it: to know what
// it is, to say what its camera said, and to make a copy that can be shown.
//
// It promises that the type is told by the content and never by the name, that
// size and pixels are limited before anything is decoded, that the original
// bytes stay as they are, and that the preview is upright and carries nothing
// but pixels: no place, no camera, no thumbnail. Light reads marked parts of the
// full picture as numbers, and leaves what they mean to others. It refuses what it cannot
// decode. A broken or hostile file is an error, never a panic.
package picture
