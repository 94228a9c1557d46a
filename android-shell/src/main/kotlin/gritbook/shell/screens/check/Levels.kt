package gritbook.shell.screens.check

import android.content.Context
import gritbook.core.LevelCode
import gritbook.core.LevelReason
import gritbook.core.Liquid
import gritbook.shell.R
import gritbook.shell.frame.Figures

/** The words and keys of levels and liquids. */
object Levels {
    fun name(level: LevelCode) = when (level) {
        LevelCode.PASTE_ONLY -> R.string.level_paste_only
        LevelCode.SOME_SAND -> R.string.level_some_sand
        LevelCode.SAND -> R.string.level_sand
        LevelCode.LUMPS -> R.string.level_lumps
    }

    fun id(level: LevelCode) = when (level) {
        LevelCode.PASTE_ONLY -> R.id.level_paste_only
        LevelCode.SOME_SAND -> R.id.level_some_sand
        LevelCode.SAND -> R.id.level_sand
        LevelCode.LUMPS -> R.id.level_lumps
    }

    fun liquid(liquid: Liquid) = when (liquid) {
        Liquid.CLEAR -> R.string.liquid_clear
        Liquid.GREY -> R.string.liquid_grey
        Liquid.MUDDY -> R.string.liquid_muddy
        Liquid.OILY -> R.string.liquid_oily
    }

    fun id(liquid: Liquid) = when (liquid) {
        Liquid.CLEAR -> R.id.liquid_clear
        Liquid.GREY -> R.id.liquid_grey
        Liquid.MUDDY -> R.id.liquid_muddy
        Liquid.OILY -> R.id.liquid_oily
    }

    /** What was measured against which limit. */
    fun reason(context: Context, reason: LevelReason): String {
        val words = when (reason.code) {
            "cover_percent" -> R.string.reason_cover
            "largest_grain_mm" -> R.string.reason_grain
            "largest_lump_mm" -> R.string.reason_lump
            else -> return "${reason.code} ${Figures.show(reason.value, 2)} / ${Figures.show(reason.limit, 2)}"
        }
        return context.getString(words, Figures.show(reason.value, 2), Figures.show(reason.limit, 2))
    }
}
