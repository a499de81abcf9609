package analysis

import "errors"

// ErrTooFew is wrapped where there is nothing, or not enough, to work from.
var ErrTooFew = errors.New("too little to go on")
