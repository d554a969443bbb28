//! Pure harmony: pitches, intervals, chords, scales, keys, meters and charts.
