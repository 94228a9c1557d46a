package gritbook.shell.look.sketch

import gritbook.core.Part

/** The drawing of [part] at [grade], 0 sound to 4 spent. Drawn once, kept. */
fun sketchOf(part: Part, grade: Int): Sketch = kept.getOrPut(part to grade) {
    require(grade in 0..4) { "grade $grade" }
    when (part) {
        Part.CUP -> cupSketch(grade)
        Part.GUIDE_BAND -> bandSketch(grade)
        Part.O_RING -> oRingSketch(grade)
        Part.PLATE -> plateSketch(grade)
        Part.BORE -> boreSketch(grade)
        Part.COUPLER -> couplerSketch(grade)
        Part.BOLTS -> boltsSketch(grade)
    }
}

private val kept = java.util.concurrent.ConcurrentHashMap<Pair<Part, Int>, Sketch>()
