package gritbook.shell.screens.why

import gritbook.core.Cause
import gritbook.core.Cup
import gritbook.core.Part
import gritbook.core.SealVariant

/** Where the look that a cause asks for is recorded: parts to grade, the first one first; none where it is the next box check. */
object Causes {
    fun parts(cause: Cause, seal: SealVariant): List<Part> = when (cause) {
        Cause.SOUND, Cause.ROD_SEAL -> emptyList()
        Cause.WORN_CUPS -> listOf(Part.CUP)
        Cause.WORN_BORE -> listOf(Part.BORE, Part.CUP)
        Cause.BAD_FIT -> listOf(Part.CUP, if (seal == SealVariant.O_RING) Part.O_RING else Part.GUIDE_BAND)
        Cause.DAMAGE -> listOf(Part.CUP, Part.BORE)
    }

    /** Whether the bore's figure is what that look asks for before any grade. */
    fun asksBore(cause: Cause) = cause == Cause.WORN_BORE

    /** Which of the list of a pump's parts that is, its first side. */
    fun index(parts: List<Pair<Part, Cup?>>, part: Part): Int = parts.indexOfFirst { it.first == part }.coerceAtLeast(0)
}
