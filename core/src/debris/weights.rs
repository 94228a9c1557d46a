//! The network's numbers, read from their text while the program is compiled: as text they would take twice the room in it.

use super::planes::Kernel;

/// Name, side of the neighbourhood, channels in, channels out of each layer, as `fixtures/scenes/learn/train.py` writes them.
const LAYERS: [(&str, usize, usize, usize); 14] = [
    ("e0", 3, 6, 8),
    ("e1", 3, 8, 16),
    ("e2", 3, 16, 24),
    ("e3", 3, 24, 24),
    ("e4", 3, 24, 24),
    ("e5", 3, 24, 24),
    ("d4", 3, 24, 24),
    ("d3", 3, 24, 24),
    ("d2", 3, 24, 24),
    ("u1", 1, 24, 16),
    ("d1", 3, 16, 16),
    ("u0", 1, 16, 8),
    ("d0", 3, 8, 12),
    ("out", 1, 12, 9),
];

const CHANNELS: usize = sums()[0];
const WEIGHTS: usize = sums()[1];

/// Channels out, and weights, of all layers.
const fn sums() -> [usize; 2] {
    let (mut sums, mut layer) = ([0, 0], 0);
    while layer < LAYERS.len() {
        let (_, side, inputs, outputs) = LAYERS[layer];
        sums = [sums[0] + outputs, sums[1] + side * side * inputs * outputs];
        layer += 1;
    }
    sums
}

/// All numbers in the order of the text: for each channel out its factor, its bias, and whole numbers row by row of the neighbourhood,
/// column by column, then channels in.
struct Numbers {
    scales: [[f32; 2]; CHANNELS],
    weights: [i16; WEIGHTS],
}

#[allow(long_running_const_eval, reason = "forty thousand numbers")]
static NUMBERS: Numbers = read(include_bytes!("weights.txt"));

/// Every layer with its weights.
pub(super) fn layers() -> Vec<(&'static str, Kernel)> {
    let (mut scales, mut weights) = (NUMBERS.scales.iter(), &NUMBERS.weights[..]);
    let mut of = |&(name, side, inputs, outputs): &(&'static str, usize, usize, usize)| {
        let mut kernel = Kernel::new(side, inputs, outputs);
        for (out, [factor, bias]) in (0..outputs).zip(&mut scales) {
            let (these, rest) = weights.split_at(side * side * inputs);
            weights = rest;
            let these: Vec<f32> = these.iter().map(|value| f32::from(*value) * factor).collect();
            kernel.set(out, *bias, &these);
        }
        (name, kernel)
    };
    LAYERS.iter().map(&mut of).collect()
}

/// Reads the text; one that is not as it should be does not compile.
const fn read(text: &[u8]) -> Numbers {
    let mut numbers = Numbers { scales: [[0.0; 2]; CHANNELS], weights: [0; WEIGHTS] };
    let mut text = Text { bytes: text, at: 0 };
    text.expect(b"gritbook grain network 1\n");
    let (mut layer, mut channel, mut weight) = (0, 0, 0);
    while layer < LAYERS.len() {
        let (name, side, inputs, outputs) = LAYERS[layer];
        text.expect(b"layer ");
        text.expect(name.as_bytes());
        assert!(text.whole() == side as i32 && text.whole() == inputs as i32 && text.whole() == outputs as i32);
        let ends = channel + outputs;
        while channel < ends {
            numbers.scales[channel] = [text.real(), text.real()];
            channel += 1;
            let ends = weight + side * side * inputs;
            while weight < ends {
                let value = text.whole();
                assert!(value.abs() <= i16::MAX as i32);
                numbers.weights[weight] = value as i16;
                weight += 1;
            }
        }
        layer += 1;
        text.expect(b"\n");
    }
    assert!(text.at == text.bytes.len());
    numbers
}

/// A place in a text.
struct Text<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl Text<'_> {
    const fn here(&self) -> u8 {
        if self.at < self.bytes.len() { self.bytes[self.at] } else { 0 }
    }

    const fn expect(&mut self, words: &[u8]) {
        let mut index = 0;
        while index < words.len() {
            assert!(self.here() == words[index]);
            self.at += 1;
            index += 1;
        }
    }

    /// Whether the sign was there; goes past it.
    const fn takes(&mut self, sign: u8) -> bool {
        let there = self.here() == sign;
        self.at += there as usize;
        there
    }

    /// Digits and how many there were.
    const fn digits(&mut self) -> (i64, i32) {
        let (mut value, mut count) = (0, 0);
        while self.here().is_ascii_digit() {
            value = 10 * value + (self.here() - b'0') as i64;
            count += 1;
            self.at += 1;
        }
        assert!(count > 0 && count < 16);
        (value, count)
    }

    /// The next whole number, after at most one space or end of line.
    const fn whole(&mut self) -> i32 {
        let _ = self.takes(b' ') || self.takes(b'\n');
        let minus = self.takes(b'-');
        let value = self.digits().0 as i32;
        if minus { -value } else { value }
    }

    /// The next number of the form `-1.25e-03`, after at most one space or end of line.
    const fn real(&mut self) -> f32 {
        let _ = self.takes(b' ') || self.takes(b'\n');
        let minus = self.takes(b'-');
        let (whole, _) = self.digits();
        self.expect(b".");
        let (part, places) = self.digits();
        self.expect(b"e");
        let small = self.takes(b'-');
        let _ = self.takes(b'+');
        let power = self.digits().0 as i32;
        let power = if small { -power } else { power } - places;
        // Both are exact as long as the powers of ten are.
        assert!(power.abs() <= 22);
        let value = whole as f64 * ten_to(places) + part as f64;
        let value = if power < 0 { value / ten_to(-power) } else { value * ten_to(power) };
        (if minus { -value } else { value }) as f32
    }
}

const fn ten_to(power: i32) -> f64 {
    let (mut value, mut step) = (1.0, 0);
    while step < power {
        value *= 10.0;
        step += 1;
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the library's own reading of the same text.
    #[test]
    fn numbers_are_those_of_the_text() {
        let text = include_str!("weights.txt");
        let lines: Vec<&str> = text.lines().filter(|line| !line.starts_with(['l', 'g'])).collect();
        let (scales, weights): (Vec<_>, Vec<_>) = lines.chunks_exact(2).map(|pair| (pair[0], pair[1])).unzip();
        let scales: Vec<f32> = scales.iter().flat_map(|line| line.split(' ')).map(|word| word.parse().unwrap()).collect();
        let weights: Vec<i16> = weights.iter().flat_map(|line| line.split(' ')).map(|word| word.parse().unwrap()).collect();
        assert_eq!(NUMBERS.scales.as_flattened(), scales);
        assert_eq!(NUMBERS.weights[..], weights[..]);
    }

    #[test]
    fn every_layer_is_whole() {
        let layers = layers();
        assert_eq!(layers.len(), 14);
        assert!(layers.iter().all(|(_, kernel)| kernel.is_whole()));
    }
}
