package gritbook.shell.screens.grade

import android.content.Context
import gritbook.core.Cup
import gritbook.core.Part
import gritbook.core.SealVariant
import gritbook.shell.R
import gritbook.shell.frame.Vocabulary

/** The parts of a pump, each side of its own, in the order in which a box is looked at. */
object PartList {
    fun of(order: List<Part>, seal: SealVariant): List<Pair<Part, Cup?>> = order.flatMap { part ->
        when (part) {
            Part.GUIDE_BAND -> if (seal == SealVariant.GUIDE_BAND) sides(part) else emptyList()
            Part.O_RING -> if (seal == SealVariant.O_RING) sides(part) else emptyList()
            Part.CUP, Part.PLATE, Part.BORE -> sides(part)
            Part.COUPLER, Part.BOLTS -> sides(part)
        }
    }

    private fun sides(part: Part) = listOf<Pair<Part, Cup?>>(part to Cup.A, part to Cup.B)

    fun name(context: Context, part: Part, cup: Cup?): String {
        val name = Vocabulary.part(context, part)
        return if (cup == null) name else context.getString(R.string.grade_side, name, cup.name)
    }
}
