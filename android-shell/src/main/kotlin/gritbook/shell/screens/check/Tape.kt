package gritbook.shell.screens.check

import gritbook.core.Quantity
import gritbook.shell.frame.Figures

/** What a tape of concrete counts in: whole units of the shop, from [first] on (in the book's unit). */
class Tape(private val figures: Figures, val first: Double) {
    private val unit = figures.one(Quantity.CONCRETE)

    /** The first mark in the shop's unit; marks are drawn at whole numbers of it. */
    val firstShown = first / unit

    fun shown(kept: Double) = kept / unit

    fun kept(shown: Double) = first + (shown - firstShown) * unit

    fun write(kept: Double) = figures.show(Quantity.CONCRETE, kept)
}
