//! Walking bass lines sampled exactly from stated rules.
