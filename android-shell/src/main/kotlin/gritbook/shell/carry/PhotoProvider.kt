package gritbook.shell.carry

import android.content.ContentProvider
import android.content.ContentValues
import android.database.Cursor
import android.database.MatrixCursor
import android.net.Uri
import android.os.ParcelFileDescriptor
import android.provider.OpenableColumns
import java.io.File
import java.io.FileNotFoundException

/** Lets the camera write one new picture into the app's own folder, and nothing else. */
class PhotoProvider : ContentProvider() {
    override fun onCreate() = true

    override fun openFile(uri: Uri, mode: String): ParcelFileDescriptor {
        val file = fileOf(uri)
        file.parentFile?.mkdirs()
        return ParcelFileDescriptor.open(file, ParcelFileDescriptor.parseMode(mode))
    }

    override fun getType(uri: Uri) = "image/jpeg"

    override fun query(uri: Uri, columns: Array<String>?, where: String?, with: Array<String>?, order: String?): Cursor {
        val file = fileOf(uri)
        val names = columns ?: arrayOf(OpenableColumns.DISPLAY_NAME, OpenableColumns.SIZE)
        return MatrixCursor(names).apply {
            addRow(names.map { if (it == OpenableColumns.SIZE) file.length() else if (it == OpenableColumns.DISPLAY_NAME) file.name else null })
        }
    }

    override fun insert(uri: Uri, values: ContentValues?): Uri? = null

    override fun update(uri: Uri, values: ContentValues?, where: String?, with: Array<String>?) = 0

    override fun delete(uri: Uri, where: String?, with: Array<String>?) = 0

    private fun fileOf(uri: Uri): File {
        val name = uri.lastPathSegment.orEmpty()
        if (uri.pathSegments.size != 1 || !NAME.matches(name)) throw FileNotFoundException("no such picture: $uri")
        return File(Shots.folder(context!!), name)
    }

    private companion object {
        val NAME = Regex("[0-9a-f-]{36}\\.jpg")
    }
}
