package gritbook.shell.screens.changeout

import gritbook.core.RemovalReason
import gritbook.shell.R

/** Why a part came out, as it stands on keys. */
object Reasons {
    val all = listOf(
        RemovalReason.WORN to R.string.removal_worn,
        RemovalReason.PLANNED to R.string.removal_planned,
        RemovalReason.DAMAGED to R.string.removal_damaged,
        RemovalReason.OTHER_CUP to R.string.removal_other_cup,
        RemovalReason.FAILED to R.string.removal_failed,
    )
}
