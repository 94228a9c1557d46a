package gritbook.shell.look

import gritbook.core.LevelCode
import gritbook.core.ReadingFacts

/** What a level strip draws: discs on a strip of ground. Lengths in mm where it has a scale, else in the strip's own units. */
class LevelStrip(
    val width: Float,
    val height: Float,
    /** x, y and radius in turn. */
    val discs: FloatArray,
    /** True where the discs are measured grains and a bar of 5 mm tells their size. */
    val toScale: Boolean,
    /** True for the film of paste: a wave and nothing else. */
    val film: Boolean = false,
    /** True where an eye judged the level; false too for a heap, which was measured as a whole. */
    val eye: Boolean = false,
) {
    /** A grain as a disc of its area: its middle in the window and how far it is across, mm. */
    class Disc(val xMm: Double, val yMm: Double, val acrossMm: Double)

    companion object {
        /** Height of a strip, mm on the card. */
        const val STRIP_MM = 12f
        const val BAR_MM = 5f

        /** More grains than these change nothing that an eye sees. */
        private const val MOST_GRAINS = 1500
        private const val EYE_WIDTH = 60f
        private const val EYE_HEIGHT = 9f

        /** The strip of the reading's window that holds most grain; of a heap, in which no grain was told apart, its level's texture. */
        fun of(reading: ReadingFacts): LevelStrip {
            if (reading.grains.isEmpty() && reading.gradation != null) return texture(reading.level.code, eye = false)
            val window = reading.scale.windowMm
            return of(window.widthMm, window.heightMm, reading.grains.map { Disc(it.xMm, it.yMm, it.ecdMm) })
        }

        /** The strip of a window of that size that holds most grain, grains at true scale. */
        fun of(widthMm: Double, heightMm: Double, grains: List<Disc>): LevelStrip {
            val width = widthMm.toFloat().coerceIn(1f, 1000f)
            val high = minOf(STRIP_MM, heightMm.toFloat().coerceAtLeast(1f))
            val bands = (((heightMm - high) / (high / 2)).toInt()).coerceIn(0, 200)
            val top = (0..bands).map { it * high / 2 }.maxBy { from ->
                grains.filter { it.yMm >= from && it.yMm < from + high }.sumOf { it.acrossMm * it.acrossMm }
            }
            val shown = grains.filter { it.yMm + it.acrossMm / 2 > top && it.yMm - it.acrossMm / 2 < top + high }.take(MOST_GRAINS)
            val discs = FloatArray(shown.size * 3)
            shown.forEachIndexed { at, grain ->
                discs[3 * at] = grain.xMm.toFloat()
                discs[3 * at + 1] = grain.yMm.toFloat() - top
                discs[3 * at + 2] = grain.acrossMm.toFloat() / 2
            }
            return LevelStrip(width, high, discs, toScale = true)
        }

        /** The texture of a level that was judged by eye: film, pepper, sand, lumps. Always the same. */
        fun byEye(level: LevelCode): LevelStrip = texture(level, eye = true)

        private fun texture(level: LevelCode, eye: Boolean): LevelStrip {
            val (count, radius) = when (level) {
                LevelCode.PASTE_ONLY -> 0 to 0f
                LevelCode.SOME_SAND -> 40 to 0.28f
                LevelCode.SAND -> 190 to 0.42f
                LevelCode.LUMPS -> 22 to 1.5f
            }
            val discs = FloatArray(count * 3)
            for (at in 0 until count) {
                discs[3 * at] = spread(at + 1, 2) * (EYE_WIDTH - 2 * radius) + radius
                discs[3 * at + 1] = spread(at + 1, 3) * (EYE_HEIGHT - 2 * radius) + radius
                discs[3 * at + 2] = radius
            }
            return LevelStrip(EYE_WIDTH, EYE_HEIGHT, discs, toScale = false, film = level == LevelCode.PASTE_ONLY, eye = eye)
        }

        /** The van der Corput sequence: spreads evenly over 0 to 1, without a raster that the eye would see. */
        private fun spread(number: Int, base: Int): Float {
            var value = 0.0
            var share = 1.0 / base
            var rest = number
            while (rest > 0) {
                value += share * (rest % base)
                rest /= base
                share /= base
            }
            return value.toFloat()
        }
    }
}
