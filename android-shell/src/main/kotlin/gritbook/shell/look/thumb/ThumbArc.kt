package gritbook.shell.look.thumb

import kotlin.math.abs
import kotlin.math.hypot

/**
 * Where the five grades lie: on an arc that the thumb of one hand sweeps. Upright along that hand's edge, sound below and spent
 * above; lying along the foot of a low screen, sound to the left. Lengths in px.
 */
class ThumbArc(
    private val width: Float,
    private val height: Float,
    private val touch: Float,
    private val gap: Float,
    private val leftHand: Boolean,
    val lying: Boolean,
    private val grades: Int = 5,
) {
    private val length = if (lying) width else height

    /** From one grade to the next along the arc's long side; at least [touch] where the room is there. */
    val spacing = ((length - touch) / (grades - 1)).coerceAtMost(touch + gap)

    /** How far the middle bends away from the hand. */
    private val bend = ((if (lying) height else width) - touch).coerceAtLeast(0f)

    fun x(grade: Float): Float = if (lying) width / 2 + (grade - middle) * spacing else {
        val fromEdge = touch / 2 + bend * arch(grade)
        if (leftHand) fromEdge else width - fromEdge
    }

    fun y(grade: Float): Float = if (lying) height - touch / 2 - bend * arch(grade) else height / 2 - (grade - middle) * spacing

    private val middle = (grades - 1) / 2f

    private fun arch(grade: Float): Float {
        val off = (grade - middle) / middle
        return (1 - off * off).coerceIn(0f, 1f)
    }

    /** The grade under a thumb that has just come down; null where it is beside the arc. */
    fun under(x: Float, y: Float): Int? {
        val nearest = along(x, y)
        val reach = maxOf(touch, spacing) / 2
        val near = abs(x - x(nearest.toFloat())) <= reach && abs(y - y(nearest.toFloat())) <= reach
        return if (near || hypot(x - x(nearest.toFloat()), y - y(nearest.toFloat())) <= reach * 1.2f) nearest else null
    }

    /** The grade that a moving thumb is level with. [from] holds on a little, so that a trembling thumb does not tick to and fro. */
    fun along(x: Float, y: Float, from: Int? = null): Int {
        val place = if (lying) (x - width / 2) / spacing + middle else (height / 2 - y) / spacing + middle
        if (from != null && abs(place - from) < HOLD) return from
        return Math.round(place).coerceIn(0, grades - 1)
    }

    /** True where a thumb has left the arc on purpose: what it showed is not meant. */
    fun left(x: Float, y: Float): Boolean {
        val at = along(x, y).toFloat()
        return (if (lying) abs(y - y(at)) else abs(x - x(at))) > touch * AWAY
    }

    private companion object {
        /** Share of the way to the next grade at which the thumb still belongs to the last. */
        const val HOLD = 0.58f

        /** Touch sizes off the arc that take a slide back. */
        const val AWAY = 1.75f
    }
}
