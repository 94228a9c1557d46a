//! Words beside what they name: each stands where it hides no other words and as little else as can be.

/// A place in the picture, px.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rect {
    /// Left edge.
    pub(super) left: f64,
    /// Upper edge.
    pub(super) top: f64,
    /// Right edge.
    pub(super) right: f64,
    /// Lower edge.
    pub(super) foot: f64,
}

impl Rect {
    /// Of the given half sides around a middle.
    pub(super) fn around([x, y]: [f64; 2], [across, down]: [f64; 2]) -> Self {
        Self { left: x - across, top: y - down, right: x + across, foot: y + down }
    }

    /// Area that both cover, px squared.
    fn shared(&self, other: &Self) -> f64 {
        let across = self.right.min(other.right) - self.left.max(other.left);
        let down = self.foot.min(other.foot) - self.top.max(other.top);
        across.max(0.0) * down.max(0.0)
    }

    /// Moved by the least way that brings it into a picture of this size.
    fn inside(self, [width, height]: [f64; 2]) -> Self {
        let into = |low: f64, high: f64, end: f64| (-low).max(0.0) - (high - end).max(0.0);
        let (dx, dy) = (into(self.left, self.right, width), into(self.top, self.foot, height));
        Self { left: self.left + dx, top: self.top + dy, right: self.right + dx, foot: self.foot + dy }
    }
}

/// What hiding a px squared of something costs against hiding one of a body that no words name.
const OF_WORDS: f64 = 30.0;
const OF_NAMED: f64 = 4.0;
/// What each next way to stand costs, as a share of the words' own area: words that are found where they are looked for.
const OF_WAY: f64 = 0.02;
/// Ways to stand, best first: right, left, above, below, and above and below leaning over. Along and down, in reaches.
const WAYS: [[f64; 2]; 8] = [[1.0, 0.0], [-1.0, 0.0], [0.0, -1.0], [0.0, 1.0], [0.6, -1.0], [0.6, 1.0], [-0.6, -1.0], [-0.6, 1.0]];

/// Where words stand beside the bodies that they name, in turn: the first are the surest of a good place.
///
/// `named`: each body, and the width and height of its words, px. `others`: the bodies that no words name. `picture_px`: width and height;
/// words that fit it lie inside. `gap_px`: from words to their body. Gives one place for each of `named`.
pub(super) fn beside(named: &[(Rect, [f64; 2])], others: &[Rect], picture_px: [f64; 2], gap_px: f64) -> Vec<Rect> {
    let mut placed: Vec<Rect> = Vec::with_capacity(named.len());
    for (body, [wide, tall]) in named {
        let middle = [f64::midpoint(body.left, body.right), f64::midpoint(body.top, body.foot)];
        let reach = [(body.right - body.left + wide) / 2.0 + gap_px, (body.foot - body.top + tall) / 2.0 + gap_px];
        let way = |[along, down]: [f64; 2]| {
            Rect::around([middle[0] + along * reach[0], middle[1] + down * reach[1]], [wide / 2.0, tall / 2.0]).inside(picture_px)
        };
        let cost = |at: &Rect| {
            // Its own body counts too: words lie on it only where the picture's edge leaves no other place.
            let of_named: f64 = named.iter().map(|(body, _)| at.shared(body)).sum();
            let of = |hidden: &[Rect]| hidden.iter().map(|body| at.shared(body)).sum::<f64>();
            OF_WORDS * of(&placed) + OF_NAMED * of_named + of(others)
        };
        let costs = WAYS.iter().enumerate().map(|(turn, step)| {
            let at = way(*step);
            (at, cost(&at) + OF_WAY * turn as f64 * wide * tall)
        });
        let best = costs.reduce(|best, next| if next.1 < best.1 { next } else { best });
        placed.extend(best.map(|(at, _)| at));
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    const PICTURE: [f64; 2] = [1000.0, 800.0];

    fn disc(x: f64, y: f64, radius: f64) -> Rect {
        Rect::around([x, y], [radius, radius])
    }

    #[test]
    fn words_stand_at_the_right_where_nothing_is_in_their_way() {
        let placed = beside(&[(disc(200.0, 300.0, 40.0), [150.0, 30.0])], &[], PICTURE, 8.0);
        assert_eq!(placed, [Rect { left: 248.0, top: 285.0, right: 398.0, foot: 315.0 }]);
    }

    #[test]
    fn words_of_neighbours_never_lie_on_each_other_and_leave_named_bodies_free() {
        // Two lumps side by side, a third between their words, one in each corner.
        let bodies = [
            (300.0, 400.0, 60.0),
            (520.0, 410.0, 60.0),
            (410.0, 500.0, 30.0),
            (30.0, 30.0, 25.0),
            (970.0, 30.0, 25.0),
            (970.0, 770.0, 25.0),
        ];
        let named: Vec<_> = bodies.iter().map(|(x, y, radius)| (disc(*x, *y, *radius), [170.0, 30.0])).collect();
        let placed = beside(&named, &[], PICTURE, 8.0);
        assert_eq!(placed.len(), named.len());
        for (number, at) in placed.iter().enumerate() {
            assert!(at.left >= 0.0 && at.top >= 0.0 && at.right <= PICTURE[0] && at.foot <= PICTURE[1], "{at:?}");
            assert!(placed[..number].iter().all(|other| at.shared(other) == 0.0), "{placed:?}");
            assert!(named.iter().all(|(body, _)| at.shared(body) == 0.0), "{at:?}");
        }
    }

    #[test]
    fn words_give_way_to_a_body_that_they_would_hide() {
        let stone = disc(360.0, 300.0, 50.0);
        let placed = beside(&[(disc(200.0, 300.0, 40.0), [150.0, 30.0])], &[stone], PICTURE, 8.0);
        assert_eq!(placed, [Rect { left: 2.0, top: 285.0, right: 152.0, foot: 315.0 }]);
    }

    #[test]
    fn a_body_as_large_as_the_picture_still_gets_its_words_inside() {
        let placed = beside(&[(disc(500.0, 400.0, 600.0), [150.0, 30.0])], &[], PICTURE, 8.0);
        let at = placed[0];
        assert!(at.left >= 0.0 && at.top >= 0.0 && at.right <= PICTURE[0] && at.foot <= PICTURE[1], "{at:?}");
    }
}
