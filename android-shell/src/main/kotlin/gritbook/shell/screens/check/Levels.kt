package gritbook.shell.screens.check

import android.content.Context
import gritbook.core.LevelCode
import gritbook.core.LevelReason
import gritbook.core.Liquid
import gritbook.core.Quantity
import gritbook.shell.R
import gritbook.shell.frame.Figures

/** The keys and reasons of levels and liquids. */
object Levels {
    fun id(level: LevelCode) = when (level) {
        LevelCode.PASTE_ONLY -> R.id.level_paste_only
        LevelCode.SOME_SAND -> R.id.level_some_sand
        LevelCode.SAND -> R.id.level_sand
        LevelCode.LUMPS -> R.id.level_lumps
    }

    fun id(liquid: Liquid) = when (liquid) {
        Liquid.CLEAR -> R.id.liquid_clear
        Liquid.GREY -> R.id.liquid_grey
        Liquid.MUDDY -> R.id.liquid_muddy
        Liquid.OILY -> R.id.liquid_oily
    }

    /** What was measured against which limit. */
    fun reason(context: Context, figures: Figures, reason: LevelReason): String {
        fun size(mm: Double) = figures.show(Quantity.GRAIN_SIZE, mm)
        return when (reason.code) {
            "cover_percent" -> context.getString(R.string.reason_cover, figures.number(reason.value, 1), figures.number(reason.limit, 1))
            "largest_grain_mm" -> context.getString(R.string.reason_grain, size(reason.value), size(reason.limit))
            "largest_lump_mm" -> context.getString(R.string.reason_lump, size(reason.value), size(reason.limit))
            else -> "${reason.code}: ${figures.number(reason.value, 2)} / ${figures.number(reason.limit, 2)}"
        }
    }
}
