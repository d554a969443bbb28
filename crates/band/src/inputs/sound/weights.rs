//! Weights of the figures by which a key is told; see `tests/outside/hear_weights.py`.
use super::pitch::FIGURES;
pub const OF_FIGURES: [f32; FIGURES] = [2.29,3.5,3.36,1.93,3.22,1.94,3.82,1.55,1.66,-0.47,3.18,-0.27,
 -0.21,-1.36,-0.61,-0.84,-0.69,-0.17,-0.92,-2.35,-1.45,0.07,3.11,0.72];
pub const SILENCE: (f32, f32) = (0.69, -0.82);
pub const STRUCK_AGAIN: [[f32; 3]; 6] = [
    [1.18, 1.66, 0.53],
    [0.59, 0.92, 2.60],
    [0.45, -0.98, 1.46],
    [0.36, -0.14, 0.46],
    [0.27, -1.19, -0.12],
    [2.14, -2.65, -0.13],
];
pub const STRUCK_AGAIN_AT_LEAST: f32 = -3.79;
